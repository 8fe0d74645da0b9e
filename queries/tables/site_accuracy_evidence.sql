-- title = "Evidence on how sensors read, month by month"
-- row = "one pair of sites and one measure at the end of one month"
-- section = "compare"
-- order = 8
-- show = 12
-- note = "You may look every month and stop when you like: without a difference the evidence reaches 20 in at most one study of twenty, over all months together. It is the capital of a bet against \"no difference\" on sensors that have ended: a fifth on a likelihood ratio for sites that are one standard deviation between sensors apart (5 % of glucose where that is 5 %), the rest on permutation tests at months 3, 6, 12, 24, 48 and 96 of the pair, which pay 20."
-- [columns]
-- look = { label = "Looked at", class = "time" }
-- month = { label = "Month of the pair", class = "count" }
-- site_a = { label = "Site", class = "site" }
-- site_b = { label = "against", class = "site" }
-- measure = { label = "Measure", class = "category" }
-- alternative = { label = "Built for", class = "category" }
-- log_e = { label = "Evidence, natural logarithm", digits = 2, class = "estimate" }
-- log_e_likelihood = { label = "of the likelihood alone", digits = 2, class = "estimate" }
-- p = { label = "p by permutation, where due", digits = 4, class = "p" }
SELECT look, month, site_a, site_b, measure, alternative, log_e, log_e_likelihood, p
FROM all_looks
WHERE regular AND place IN (2, 3)
ORDER BY position_a, position_b, place, month

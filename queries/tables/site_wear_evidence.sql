-- title = "Evidence on how long sensors stay on, month by month"
-- row = "one pair of sites at the end of one month"
-- section = "compare"
-- order = 4
-- show = 12
-- note = "You may look every month and stop when you like: without a difference the evidence reaches 20 in at most one study of twenty, over all months together. It is the capital of a bet against \"no difference\": a fifth on the likelihood of a hazard ratio of 2 (in either direction), the rest on permutation tests at months 3, 6, 12, 24, 48 and 96 of the pair, which pay 20."
-- [columns]
-- look = { label = "Looked at", class = "time" }
-- month = { label = "Month of the pair", class = "count" }
-- site_a = { label = "Site", class = "site" }
-- site_b = { label = "against", class = "site" }
-- alternative = { label = "Built for", class = "category" }
-- log_e = { label = "Evidence, natural logarithm", digits = 2, class = "estimate" }
-- log_e_likelihood = { label = "of the likelihood alone", digits = 2, class = "estimate" }
-- p = { label = "p by permutation, where due", digits = 4, class = "p" }
SELECT look, month, site_a, site_b, alternative, log_e, log_e_likelihood, p
FROM all_looks
WHERE regular AND place = 1
ORDER BY position_a, position_b, month

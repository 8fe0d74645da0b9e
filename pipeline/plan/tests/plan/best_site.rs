//! What is said of the site that is best.

use whereworn_plan::gather::Study;
use whereworn_plan::page::markdown;
use whereworn_plan::standing;

use crate::study::{AGREED, Log, plan_in, plan_of, three_a_site, usual};

/// The same as on the page: the likeliest first, those that none beats, and the leader.
#[test]
fn a_report_has_the_chances_of_the_plan() {
    let log = three_a_site();
    let (made, settings) = plan_of(AGREED, &log, &[]).unwrap();
    let tables = log.tables();
    let study = Study {
        settings: &settings,
        cutoff: 0,
        tables: &tables,
    };
    let [sites, priorities] = standing::tables(&study, "kelp").unwrap();
    let told: Vec<(&str, f64)> = (0..sites.rows())
        .map(|row| {
            (
                sites.text(row, "site"),
                sites.number(row, "probability").unwrap(),
            )
        })
        .collect();
    let planned = made.document.best.iter();
    let planned: Vec<(&str, f64)> = planned
        .map(|row| (row.site.as_str(), row.probability))
        .collect();
    assert_eq!(told, planned);
    // Of the figures one of two sensors on the abdomen came off and no other: it alone is beaten.
    let unbeaten = |site: &str| {
        let row = (0..sites.rows()).find(|&row| sites.text(row, "site") == site);
        sites.number(row.unwrap(), "unbeaten").unwrap()
    };
    assert_eq!(
        ["abdomen", "upper-arm-back", "chest"].map(unbeaten),
        [0.0, 1.0, 1.0]
    );
    assert!((0..sites.rows()).all(|row| sites.number(row, "sensors") == Some(3.0)));
    let names: Vec<&str> = (0..priorities.rows())
        .map(|row| priorities.text(row, "priority"))
        .collect();
    assert_eq!(names, ["stays-on", "reads-true", "quiet-at-night"]);
    assert_eq!(priorities.number(0, "weight"), Some(1.0));
    assert_eq!(priorities.text(0, "leader"), "upper-arm-back");
}

/// Twenty blocks are 100 %. With three sensors a site and hardly a difference no site is more likely the best than not.
#[test]
fn bars_are_as_long_as_chances_and_no_leader_is_named_by_a_hair() {
    let (made, settings) = plan_of(AGREED, &three_a_site(), &[]).unwrap();
    let page = markdown(&made, &settings);
    let text = on_the_best(&page);
    let bars = text.lines().filter(|line| line.contains(['█', '░']));
    let mut filled: Vec<usize> = bars
        .map(|line| {
            let count = |block: char| line.matches(block).count();
            assert_eq!(count('█') + count('░'), 20, "{line}");
            count('█')
        })
        .collect();
    let chances = made.document.best.iter().map(|row| row.probability);
    let most = chances.clone().fold(0.0, f64::max);
    // Those on the label come first.
    let mut wanted: Vec<usize> = chances.map(|p| (20.0 * p).round() as usize).collect();
    wanted.sort_unstable();
    filled.sort_unstable();
    assert_eq!(filled, wanted, "{text}");
    assert!(most < 0.5 && text.contains("No site stands out"), "{text}");
    assert!(!text.contains("leads so far"), "{text}");
}

/// The paragraphs on which site is best.
fn on_the_best(page: &str) -> &str {
    let (_, after) = page
        .split_once("\n## Which site is best for me?\n\n")
        .unwrap();
    after.split_once("\n## ").unwrap().0
}

/// The report says the same: nothing leads and nothing is beaten.
#[test]
fn before_three_sensors_at_a_site_none_is_the_best() {
    let mut log = usual();
    let (made, settings) = plan_of(AGREED, &log, &[]).unwrap();
    let page = markdown(&made, &settings);
    let few = "No site has had 3 of your sensors yet. That is too few to say which is best.\n";
    assert_eq!(on_the_best(&page), few);
    // One site with three has none to be compared with.
    log.sensors.splice(
        0..0,
        three_a_site()
            .sensors
            .into_iter()
            .filter(|[site, ..]| *site == "abdomen"),
    );
    let (made, settings) = plan_of(AGREED, &log, &[]).unwrap();
    let page = markdown(&made, &settings);
    let best = on_the_best(&page);
    assert!(
        best.contains('█') && best.contains("No site stands out"),
        "{best}"
    );
    assert!(
        !best.contains("leads") && !best.contains("beaten"),
        "{best}"
    );
}

/// The chest may be planned and had no sensor: no bar, no rank, and a line of its own.
#[test]
fn a_site_that_was_never_worn_has_no_chance_and_is_named_apart() {
    let mut log = three_a_site();
    log.sensors.retain(|[site, ..]| *site != "chest");
    log.without = "chest";
    let (made, settings) = plan_of(AGREED, &log, &[]).unwrap();
    let best = &made.document.best;
    assert!(best.iter().all(|row| row.site != "chest"), "{best:?}");
    let total: f64 = best.iter().map(|row| row.probability).sum();
    assert!((total - 1.0).abs() < 1e-9, "{best:?}");
    let page = markdown(&made, &settings);
    let text = on_the_best(&page);
    assert!(
        text.contains("\n\nNever worn, nothing is known: Chest \\<b\\>\\* (off-label).\n"),
        "{text}"
    );
    assert_eq!(text.matches("Chest").count(), 1, "{text}");
    assert!(text.contains("the best of those you have worn"), "{text}");
    let tables = log.tables();
    let study = Study {
        settings: &settings,
        cutoff: 0,
        tables: &tables,
    };
    let [sites, _] = standing::tables(&study, "kelp").unwrap();
    assert!((0..sites.rows()).all(|row| sites.text(row, "site") != "chest"));
    assert_eq!(sites.rows(), 2);

    log.sensors.retain(|[site, ..]| *site == "abdomen");
    let (made, settings) = plan_of(AGREED, &log, &[]).unwrap();
    let page = markdown(&made, &settings);
    let text = on_the_best(&page);
    assert!(
        text.starts_with("All your sensors were at one site, Abdomen:"),
        "{text}"
    );
    assert!(!text.contains('█') && text.contains("Never worn"), "{text}");
}

/// Before the first sensor no site leads, and none is said to get more of them than another.
#[test]
fn what_looks_best_is_not_told_before_anything_is_known() {
    for aim in ["wear-best", "half-half"] {
        let settings = format!("{AGREED}aim = \"{aim}\"\n");
        let page = |log: &Log| {
            let (made, settings) = plan_in(&settings, log, 6);
            markdown(&made, &settings)
        };
        let (new, worn) = (page(&Log::default()), page(&three_a_site()));
        let alike = "So far nothing tells the sites apart, and all come up alike.";
        // To learn, the reference has more sensors than each other site also before the first.
        assert_eq!(new.contains(alike), aim == "wear-best", "{new}");
        assert!(!worn.contains(alike) && worn.contains(" explore"), "{worn}");
    }
}

/// Of three sites two are likeliest by a hair, one of them off the label: none is named alone as where the sensors go.
#[test]
fn where_no_site_has_half_of_the_draws_each_is_named() {
    let settings = format!("{AGREED}aim = \"wear-best\"\n");
    let (made, settings) = plan_of(&settings, &three_a_site(), &[]).unwrap();
    let page = markdown(&made, &settings);
    let most =
        "Most of the sensors explore, since no site has half of them: Back of the upper arm ";
    let (_, shares) = page.split_once(most).unwrap_or_else(|| panic!("{page}"));
    let shares = shares.split_once('.').unwrap().0;
    let (first, last) = shares.split_once(" %, Abdomen ").unwrap();
    let (second, last) = last
        .split_once(" %, Chest \\<b\\>\\* (off-label) ")
        .unwrap();
    let shares = [first, second, last.trim_end_matches(" %")].map(|text| text.parse::<u8>());
    let sum: u8 = shares.iter().map(|share| share.clone().unwrap()).sum();
    assert!((99..=101).contains(&sum), "{shares:?}");
}

/// A site whose questions are settled keeps a tenth under `learn` alone, and only while others are open.
#[test]
fn what_takes_part_in_no_open_question_is_said_by_aim() {
    let mut log = usual();
    log.conclusions = vec![("stays-on", "upper-arm-back", "abdomen", "alike", None)];
    let says = |aim: &str, log: &Log| {
        let settings = format!("{AGREED}aim = \"{aim}\"\n");
        let (made, _) = plan_in(&settings, log, 40);
        let reasons = made.document.sensors.iter().map(|row| &*row.reason);
        let all: Vec<&str> = reasons.collect();
        ["no open question", "tenth of the draws"].map(|words| all.join("\n").contains(words))
    };
    assert_eq!(says("learn", &log), [true, true]);
    assert_eq!(says("half-half", &log), [true, false]);
    let chest = ("stays-on", "upper-arm-back", "chest", "alike", None);
    log.conclusions.push(chest);
    assert_eq!(says("learn", &log), [false, false]);
}

/// Where no figure is of anything that matters, all sites would be alike by ignorance alone.
#[test]
fn no_site_is_best_where_nothing_is_known_of_what_matters() {
    for (language, line) in [
        (
            "en",
            "Nothing is known yet of what matters to you (skin 5, comfort 2), so that no site can be called best.\n",
        ),
        (
            "de",
            "Über das, was Ihnen wichtig ist (Haut 5, Tragegefühl 2), ist noch nichts bekannt;",
        ),
    ] {
        let settings = AGREED.replace(
            "[study]\n",
            &format!("[study]\nlanguage = \"{language}\"\n"),
        );
        let settings = format!("{settings}[priorities]\nskin = 5\ncomfort = 2\n");
        let (made, settings) = plan_of(&settings, &three_a_site(), &[]).unwrap();
        let page = markdown(&made, &settings);
        assert!(page.contains(line), "{page}");
        assert!(
            !page.contains('█') && !page.contains("übertroffen"),
            "{page}"
        );
        assert!(!page.contains("beaten"), "{page}");
    }
}

#[test]
fn sites_off_the_label_come_after_the_others() {
    let (made, settings) = plan_of(AGREED, &three_a_site(), &[]).unwrap();
    let first = &made.document.best[0];
    let page = markdown(&made, &settings);
    let bars = page.split_once(
        "\nOff the device's label, to be agreed with the clinician before it is worn:\n\n",
    );
    let (before, after) = bars.unwrap();
    let of = |text: &str| text.matches("%: ").count();
    assert_eq!(
        (of(on_the_best(&format!("{before}\n## "))), of(after)),
        (2, 1),
        "{first:?} {page}"
    );
    assert!(after.contains("%: Chest"), "{page}");
    let beats = "matters to you: Back of the upper arm; Chest \\<b\\>\\* (off-label).";
    assert!(page.contains(beats), "{page}");
}

#[test]
fn one_site_alone_is_not_called_the_best() {
    let settings = "[study]\nunit = \"mg/dL\"\n[sites.chest]\non_label = true\n";
    let mut log = usual();
    log.sensors.drain(..2);
    let (made, settings) = plan_of(settings, &log, &[]).unwrap();
    let page = markdown(&made, &settings);
    assert!(page.contains("One site only"), "{page}");
    assert!(!page.contains("leads") && !page.contains('█'), "{page}");
    let tables = log.tables();
    let study = Study {
        settings: &settings,
        cutoff: 0,
        tables: &tables,
    };
    let [sites, priorities] = standing::tables(&study, "kelp").unwrap();
    assert_eq!((sites.rows(), priorities.rows()), (0, 0));
}

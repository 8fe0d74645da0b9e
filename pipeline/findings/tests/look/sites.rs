//! What is asked for where a site had few sensors, one side or one lot: never more off the label, or where the skin suffered.

use whereworn_model::rows::WearEvent;

use crate::study::{Study, claims, only};

/// What to do about the findings of a kind at the chest.
fn to_do(study: &Study, kind: &str) -> Vec<String> {
    let outcome = study.look();
    let of = outcome.findings.into_iter();
    of.filter(|found| found.kind == kind && found.site == "chest")
        .map(|found| found.todo)
        .collect()
}

const OFF: &str = "[sites.abdomen]\non_label = true\n";
const ON: &str = "[sites.chest]\non_label = true\n";
const PLANNED: &str = "[plan]\nsites = [\"chest\"]\n";

#[test]
fn more_sensors_are_asked_for_on_the_label_alone() {
    for (said, asked) in [
        (ON.to_owned(), "wear at least three"),
        (OFF.to_owned(), "leave it: this site is off the label"),
        (
            String::new(),
            "say in study.toml whether this site is on the device's label; if it is, wear at least three",
        ),
        (format!("{ON}{PLANNED}"), "wear at least three"),
        (
            format!("{OFF}{PLANNED}"),
            "at least three would tell; the plan names this site, which is not said to be on the label",
        ),
    ] {
        let mut study = Study::new(4);
        study.settings += &said;
        assert_eq!(to_do(&study, "thin"), [asked], "{said}");
    }
}

#[test]
fn another_side_and_another_lot_are_asked_for_on_the_label_alone() {
    let mut study = Study::new(12);
    for event in &mut study.events {
        event.side = "left".into();
        let lot = if event.site == "chest" { "L2" } else { "L1" };
        event.lot = lot.into();
    }
    let label = study.settings.clone();
    study.settings = label.clone() + OFF;
    let nothing = "leave it: this site is off the label";
    assert_eq!(to_do(&study, "side-never-tried"), [nothing]);
    assert_eq!(to_do(&study, "site-confounded"), [nothing]);
    study.settings = label + ON;
    assert_eq!(to_do(&study, "side-never-tried"), ["wear one on the right"]);
    let lot = "wear the same lot at another site on the label, or another lot here";
    assert_eq!(to_do(&study, "site-confounded"), [lot]);
}

#[test]
fn where_the_skin_suffered_no_more_is_asked_for() {
    let nothing = "leave it: a sensor here was taken off for a reaction, or itched or worse";
    let mut reaction = Study::new(4);
    reaction.settings += ON;
    let mut skin = Study::new(4);
    skin.settings += ON;
    let end = &mut reaction.events[3];
    assert!(end.event == "end" && end.sensor == "s1");
    end.cause = "reaction".into();
    let mut look = WearEvent {
        event: "skin".into(),
        grade: Some(1),
        ..skin.events[3].clone()
    };
    skin.events.push(look.clone());
    assert_eq!(to_do(&skin, "thin"), ["wear at least three"]);
    look.grade = Some(2);
    skin.events.push(look);
    assert_eq!(to_do(&reaction, "thin"), [nothing]);
    assert_eq!(to_do(&skin, "thin"), [nothing]);
}

/// Six sensors at the abdomen and then six at the chest: 7 runs of 924 ways to deal them. The later site is told, once; in turn
/// there is nothing to tell.
#[test]
fn a_site_worn_at_a_time_of_its_own_is_told() {
    let mut study = Study::new(12);
    assert!(claims(&study.look()).is_empty());
    for (number, event) in study.events.iter_mut().enumerate() {
        event.site = if number < 12 { "abdomen" } else { "chest" }.into();
    }
    let outcome = study.look();
    let found = only(&outcome);
    assert_eq!(
        (found.kind, found.site.as_str()),
        ("site-confounded", "chest")
    );
    assert_eq!(found.size, Some(6.0));
    assert!(found.text.contains("before or after"), "{}", found.text);
}

//! Which site is best for a wearer: what is said of it, and from when on.

use whereworn_model::table::Cell;

use super::words::line;
use crate::Edition;
use crate::fixture;

/// From the fixture: the back of the upper arm alone is on the label, of five sites two are not beaten, and the weight of skin
/// moves the lead at 2.25.
#[test]
fn which_site_is_best_is_evidence_with_what_is_off_the_label() {
    let study = fixture::full();
    let markdown = study.edition(Edition::Wearer).markdown;
    let unbeaten = line(&markdown, "- **Not beaten**");
    assert!(
        unbeaten.ends_with(
            "matters to you: Back of the upper arm; Lower back (not on the maker's list)."
        ),
        "{unbeaten}"
    );
    let moves = line(&markdown, "- **If one weight moves**");
    assert!(
        moves.contains("Back of the upper arm leads so far.")
            && moves.contains("skin 2.2 in place of 0.5: Lower back (not on the maker's list)"),
        "{moves}"
    );
    let off_label = line(&markdown, "- **Not on the maker's list**");
    assert!(off_label.contains("Lower back"), "{off_label}");
    assert!(
        markdown.contains("You have not set \\[priorities\\]"),
        "{markdown}"
    );
    assert!(markdown.contains("It is no advice."), "{markdown}");
    let svg = study.edition(Edition::Wearer).figures.into_iter();
    let svg = svg.filter(|figure| figure.file_name == "best_sites.svg");
    let svg: Vec<String> = svg.map(|figure| figure.svg).collect();
    assert!(
        svg[0].contains("50 %") && svg[0].contains("on the maker"),
        "{}",
        svg[0]
    );
    for edition in [Edition::Clinician, Edition::Public] {
        let report = study.edition(edition);
        assert!(!report.markdown.contains("so that luck does not win"));
    }
}

/// The fixture with these numbers in a column of the table of sites and how likely each is the best.
fn best(column: &str, numbers: &[f64]) -> String {
    let mut study = fixture::full();
    let columns = &mut study.table("best_sites").columns;
    let column = columns.iter_mut().find(|of| of.name == column).unwrap();
    for (cell, number) in column.cells.iter_mut().zip(numbers) {
        *cell = Cell::Number(*number);
    }
    study.edition(Edition::Wearer).markdown
}

#[test]
fn nobody_leads_before_one_stands_out() {
    let leads = |probability| best("probability", &[probability, 0.3]).contains("leads so far");
    assert!(leads(0.5) && !leads(0.49));
    assert!(best("probability", &[0.49, 0.3]).contains("No site stands out so far."));
}

#[test]
fn two_sensors_a_site_are_too_few_for_a_best_one() {
    let few = best("sensors", &[2.0, 1.0, 2.0, 0.0, 1.0]);
    assert!(
        few.contains("That is too few to say which is best."),
        "{few}"
    );
    assert!(
        !few.contains("Not beaten") && !few.contains("best_sites.svg"),
        "{few}"
    );
    let luck = best("sensors", &[2.0, 8.0]);
    assert!(
        luck.contains("Not beaten") && !luck.contains("leads so far"),
        "{luck}"
    );
}

/// The lower back, which another weight would bring to the front, had two sensors.
#[test]
fn a_site_with_two_sensors_is_not_said_to_lead() {
    let markdown = best("sensors", &[8.0, 2.0]);
    let moves = line(&markdown, "- **If one weight moves**");
    assert!(
        moves.contains("Back of the upper arm leads so far."),
        "{moves}"
    );
    assert!(
        moves.contains("too few sensors") && !moves.contains("Lower back"),
        "{moves}"
    );
}

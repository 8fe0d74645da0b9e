//! Their words for our words: what an export's value most likely means among those that a column may hold.

/// Other ways to say what one of our words says, in parts of words; common speech, no source.
const ALSO: [(&str, &[&str]); 24] = [
    ("error", &["err", "fault", "fail", "invalid"]),
    ("warmup", &["warm"]),
    ("low", &["lo", "below", "niedrig", "tief"]),
    ("high", &["hi", "above", "hoch"]),
    ("ok", &["valid", "good", "normal", "fine"]),
    ("insert", &["start", "applied", "new sensor", "placed"]),
    ("end", &["stop", "removed", "finish", "ended", "taken off"]),
    ("fell-off", &["fell", "fallen"]),
    ("knocked-off", &["knock", "torn", "door", "ripped"]),
    ("lifted", &["loose", "peel"]),
    ("completed", &["complete", "full", "expired", "finished"]),
    ("not-started", &["no signal", "never", "bent"]),
    ("reaction", &["itch", "rash", "bleed", "skin"]),
    ("forearm", &["lower arm", "forearm", "unterarm"]),
    (
        "upper-arm-inside",
        &[
            "inner upper arm",
            "inner arm",
            "inside of arm",
            "inside of the arm",
            "inside of upper arm",
            "arm inside",
            "arm, inside",
            "inside arm",
        ],
    ),
    ("upper-arm-back", &["arm"]),
    ("abdomen", &["tummy", "belly", "stomach"]),
    ("upper-thigh", &["thigh", "leg"]),
    ("upper-buttock", &["buttock", "bottom"]),
    ("lower-back", &["back"]),
    ("calibration", &["calib"]),
    ("control", &["solution"]),
    ("alarm", &["alert"]),
    ("routine", &["normal", "check"]),
];

/// What the titles of times say of a sensor's life: parts of words for its begin and its end.
pub(super) const BEGUN: &[&str] = &[
    "insert", "start", "applied", "placed", "begin", "put on", "gesetzt", "angelegt",
];
pub(super) const ENDED: &[&str] = &[
    "remov",
    "ended",
    "beendet",
    "stop",
    "taken off",
    "came off",
    "entfernt",
    "abgenommen",
];

/// `LO` or `HI` for a word that says so of a value; common speech, no source.
pub(super) fn off_scale(theirs: &str) -> Option<&'static str> {
    let low = [
        "niedrig",
        "tief",
        "zu niedrig",
        "zu tief",
        "too low",
        "below range",
        "bajo",
        "bas",
        "basso",
    ];
    let high = [
        "hoch",
        "zu hoch",
        "too high",
        "above range",
        "alto",
        "haut",
        "élevé",
    ];
    let theirs = theirs.to_lowercase();
    match (
        low.contains(&theirs.as_str()),
        high.contains(&theirs.as_str()),
    ) {
        (true, _) => Some("LO"),
        (_, true) => Some("HI"),
        _ => None,
    }
}

/// The side of the body that a word for a site names.
pub(super) fn side_in(theirs: &str) -> Option<&'static str> {
    let lower = theirs.to_lowercase();
    let words = lower.split(|c: char| !c.is_alphanumeric());
    let sides: [(&str, &[&str]); 2] = [
        ("left", &["left", "links", "linker", "linke", "linkes"]),
        (
            "right",
            &["right", "rechts", "rechter", "rechte", "rechtes"],
        ),
    ];
    let mut named = words.filter_map(|word| {
        sides
            .iter()
            .find(|(_, ways)| ways.contains(&word))
            .map(|(side, _)| *side)
    });
    let side = named.next()?;
    named.all(|other| other == side).then_some(side)
}

/// Words that turn the meaning of what follows round.
const NEGATIONS: [&str; 15] = [
    "no", "not", "non", "never", "none", "without", "kein", "keine", "keinen", "keiner", "nicht",
    "ohne", "nie", "sans", "cannot",
];

/// Whether a text negates something: what else it says is then no hint.
fn negates(text: &str) -> bool {
    let lower = text.to_lowercase();
    let mut words = lower.split(|c: char| !c.is_alphanumeric() && c != '\'');
    words.any(|word| NEGATIONS.contains(&word) || word.ends_with("n't"))
}

/// Words of ours up to which one letter tells which is meant.
const FEW: usize = 3;

/// Our word that says the same, if one does: the same letters, of a few its first letter where no other begins so, one within two
/// letters, or another way to say it.
pub(super) fn meant<'a>(theirs: &str, ours: &[&'a str]) -> Option<&'a str> {
    let plain = |text: &str| text.to_lowercase().replace(['-', '_', ' '], "");
    let same = ours.iter().find(|word| plain(word) == plain(theirs));
    if let Some(word) = same {
        return Some(word);
    }
    if let [letter] = theirs.to_lowercase().as_bytes()
        && ours.len() <= FEW
    {
        let mut begun = ours
            .iter()
            .filter(|own| own.as_bytes().first() == Some(letter));
        return begun.next().filter(|_| begun.next().is_none()).copied();
    }
    if negates(theirs) {
        let lower = theirs.to_lowercase();
        let said = |way: &&&str| negates(way) && lower == **way;
        let mut ways = ALSO
            .iter()
            .filter(|(_, ways)| ways.iter().any(|way| said(&way)));
        return ways.find_map(|(word, _)| ours.iter().find(|own| *own == word).copied());
    }
    let lower = theirs.to_lowercase().replace(['_', ' '], "-");
    if let Some(word) = whereworn_model::settings::nearest_word(&lower, ours.iter().copied()) {
        return Some(word);
    }
    let lower = theirs.to_lowercase();
    ALSO.iter()
        .filter(|(_, ways)| ways.iter().any(|way| lower.contains(way)))
        .find_map(|(word, _)| ours.iter().find(|own| *own == word).copied())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_meant() {
        let sites = ["upper-arm-back", "abdomen", "lower-back"];
        for (theirs, ours) in [
            ("Lower Back", Some("lower-back")),
            ("ABDOMEN", Some("abdomen")),
            ("abdomne", Some("abdomen")),
            ("Tummy", Some("abdomen")),
            ("left ear", None),
        ] {
            assert_eq!(meant(theirs, &sites), ours, "{theirs}");
        }
        assert_eq!(meant("L", &["left", "right"]), Some("left"));
        assert_eq!(meant("l", &["low", "lot", "high"]), None);
        assert_eq!(
            meant("L", &["lifted", "reaction", "completed", "chosen"]),
            None
        );
        assert_eq!(meant("came loose", &["lifted", "chosen"]), Some("lifted"));
        assert_eq!(meant("ERR 4", &["ok", "error"]), Some("error"));
    }
}

//! Their words for our words: what an export's value most likely means among those that a column may hold.

/// Other ways to say what one of our words says, in parts of words; common speech, no source.
const ALSO: [(&str, &[&str]); 22] = [
    ("error", &["err", "fault", "fail", "invalid"]),
    ("warmup", &["warm"]),
    ("low", &["lo", "below"]),
    ("high", &["hi", "above"]),
    ("ok", &["valid", "good", "normal", "fine"]),
    ("insert", &["start", "applied", "new sensor", "placed"]),
    ("end", &["stop", "removed", "finish"]),
    ("fell-off", &["fell", "fallen"]),
    ("knocked-off", &["knock", "torn", "door", "ripped"]),
    ("lifted", &["loose", "peel"]),
    ("completed", &["complete", "full", "expired", "finished"]),
    ("not-started", &["no signal", "never", "bent"]),
    ("reaction", &["itch", "rash", "bleed", "skin"]),
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

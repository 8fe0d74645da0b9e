//! The editions: golden pages, plain words, and the same numbers in every form.

use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};
use whereworn_model::settings::Language;
use whereworn_model::units::Unit;

use super::{golden_folder, is_golden};
use crate::edition::Edition;
use crate::fixture;

/// The page without its drawings.
fn without_drawings_and_style(html: &str) -> String {
    let mut page = html.to_owned();
    for (start, end, instead) in [
        ("<svg", "</svg>", "<!-- drawing -->"),
        ("<style", "</style>", "<!-- style -->"),
    ] {
        while let (Some(open), Some(close)) = (page.find(start), page.find(end)) {
            page.replace_range(open..close + end.len(), instead);
        }
    }
    page
}

/// The pages of two sites in every edition, one of them in German and mmol/L as well.
#[test]
fn golden_pages() {
    let mut german = fixture::two_sites();
    german.settings.study.language = Language::German;
    german.settings.study.unit = Some(Unit::MmolL);
    let mut pages = vec![("german", german.edition(Edition::Clinician))];
    for edition in Edition::ALL {
        pages.push((edition.name(), fixture::two_sites().edition(edition)));
    }
    let mut names = vec!["drawings.html".to_owned()];
    for (name, report) in pages {
        for (kind, text) in [
            ("md", report.markdown.clone()),
            ("html", without_drawings_and_style(&report.html)),
        ] {
            let name = format!("{name}.{kind}");
            is_golden(&name, &text);
            names.push(name);
        }
    }
    for entry in std::fs::read_dir(golden_folder()).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        assert!(names.contains(&name), "{name} is not used");
    }
}

/// Sentences of paragraphs, lists and notes; tables, headings, words in bold that lead in, links and texts for figures are
/// left out.
fn sentences(markdown: &str) -> Vec<String> {
    let mut out = Vec::new();
    let mut text = String::new();
    let mut skip = 0;
    for event in Parser::new_ext(markdown, Options::ENABLE_TABLES) {
        match event {
            Event::Start(
                Tag::Table(_)
                | Tag::Heading { .. }
                | Tag::Image { .. }
                | Tag::Link { .. }
                | Tag::Strong,
            ) => {
                skip += 1;
            }
            Event::End(
                TagEnd::Table | TagEnd::Heading(_) | TagEnd::Image | TagEnd::Link | TagEnd::Strong,
            ) => skip -= 1,
            Event::Text(part) if skip == 0 => text.push_str(&part),
            Event::End(TagEnd::Paragraph | TagEnd::Item) => {
                out.extend(split(&std::mem::take(&mut text)));
            }
            _ => {}
        }
    }
    out
}

/// At full stops, question and exclamation marks that a blank or the end follows.
fn split(text: &str) -> Vec<String> {
    let mut out = vec![String::new()];
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        let ends = ".?!".contains(c) && chars.peek().is_none_or(|next| next.is_whitespace());
        match ends {
            true => out.push(String::new()),
            false => out.last_mut().unwrap().push(c),
        }
    }
    out.retain(|sentence| sentence.chars().any(char::is_alphabetic));
    out
}

/// Groups of vowels, a silent e at the end left out; at least one.
fn syllables(word: &str) -> usize {
    let letters: Vec<char> = word
        .to_lowercase()
        .chars()
        .filter(|c| c.is_alphabetic())
        .collect();
    let vowel = |c: &char| "aeiouy".contains(*c);
    let groups = (0..letters.len())
        .filter(|&i| vowel(&letters[i]) && (i == 0 || !vowel(&letters[i - 1])))
        .count();
    let silent = letters.ends_with(&['e']) && !letters.ends_with(&['l', 'e']);
    groups.saturating_sub(usize::from(silent)).max(1)
}

/// Grade level = 0.39 words / sentence + 11.8 syllables / word - 15.59 (Kincaid, Fishburne, Rogers and Chissom 1975,
/// Naval Technical Training Command research branch report 8-75, from memory). What is no word, such as a number, does not count.
fn grade(sentences: &[String]) -> f64 {
    let words: Vec<&str> = sentences
        .iter()
        .flat_map(|sentence| sentence.split_whitespace())
        .filter(|word| word.chars().any(char::is_alphabetic))
        .collect();
    let spoken: usize = words.iter().map(|word| syllables(word)).sum();
    let count = words.len() as f64;
    0.39 * count / sentences.len() as f64 + 11.8 * spoken as f64 / count - 15.59
}

/// By hand: 6 words of one syllable in one sentence are 0.39 * 6 + 11.8 - 15.59 = -1.45; the second has 7 words of 2, 2, 2,
/// 2, 1, 1 and 2 syllables, 0.39 * 7 + 11.8 * 12 / 7 - 15.59 = 7.368.
#[test]
fn the_grade_is_that_of_its_formula() {
    let easy = grade(&["The cat sat on the mat".to_owned()]);
    assert!((easy + 1.45).abs() < 1e-9, "{easy}");
    let harder = grade(&["Confirm any doubtful reading with a finger".to_owned()]);
    assert!(
        (harder - (2.73 + 11.8 * 12.0 / 7.0 - 15.59)).abs() < 1e-9,
        "{harder}"
    );
}

/// A reading age of about 12 is grade 7.
#[test]
fn the_wearers_edition_is_plain() {
    for study in [fixture::full(), fixture::one_site(), fixture::empty()] {
        let markdown = study.edition(Edition::Wearer).markdown;
        let all = sentences(&markdown);
        assert!(all.len() > 30, "{}", all.len());
        let found = grade(&all);
        assert!(found <= 7.0, "grade {found:.1}: {all:#?}");
    }
    let of = |edition| grade(&sentences(&fixture::full().edition(edition).markdown));
    let (usual, plain) = (of(Edition::Clinician), of(Edition::Wearer));
    assert!(
        usual > plain + 1.0,
        "the measure tells editions apart: {usual:.1}, {plain:.1}"
    );
}

/// The cautions that every reader has to meet; in none of them a dose.
#[test]
fn cautions_stand_in_every_edition() {
    for edition in Edition::ALL {
        let markdown = fixture::full().edition(edition).markdown.to_lowercase();
        for word in ["treatment", "fingerstick", "label", "skin", "pregnan"] {
            let plain = match word {
                "label" => "maker does not list",
                "pregnan" => "a baby on the way",
                word => word,
            };
            assert!(
                markdown.contains(word) || markdown.contains(plain),
                "{word} in {}",
                edition.name()
            );
        }
        for advice in [
            "ignore",
            "take less",
            "take more",
            "units of",
            "bolus",
            "carbs",
        ] {
            assert!(!markdown.contains(advice), "{advice} in {}", edition.name());
        }
    }
}

#[test]
fn cautions_stand_in_every_german_edition() {
    for edition in Edition::ALL {
        let mut study = fixture::full();
        study.settings.study.language = Language::German;
        let markdown = study.edition(edition).markdown.to_lowercase();
        for word in ["therapie", "am finger", "hersteller", "haut", "schwanger"] {
            assert!(markdown.contains(word), "{word} in {}", edition.name());
        }
        for advice in ["ignorieren", "einheiten", "bolus", "kohlenhydrat"] {
            assert!(!markdown.contains(advice), "{advice} in {}", edition.name());
        }
    }
}

/// Markup without the coordinates of its drawings, which may hold any number.
fn without_coordinates(text: &str) -> String {
    let mut parts = text.split(" d=\"");
    let mut out = parts.next().unwrap().to_owned();
    for part in parts {
        out.push_str(&part[part.find('"').unwrap()..]);
    }
    out
}

/// Names of wearers and sensors, models and the study's title are gone from the public edition.
#[test]
fn the_public_edition_names_no_one() {
    let report = fixture::full().edition(Edition::Public);
    let mut texts = vec![report.markdown, report.html];
    texts.extend(report.figures.into_iter().map(|figure| figure.svg));
    texts
        .iter_mut()
        .for_each(|text| *text = without_coordinates(text));
    for table in &report.tables {
        let mut csv = Vec::new();
        table.write_csv(&mut csv).unwrap();
        texts.push(String::from_utf8(csv).unwrap());
    }
    for text in texts {
        for name in ["Keeper", "lighthouse", "up-0", "Lisbon", "Calf", "calf"] {
            assert!(!text.contains(name), "{name}");
        }
        // A coordinate of a drawing may well be 2026.
        let text = super::page::text_of(&text);
        let mut words = text.split(|c: char| !c.is_alphanumeric());
        let found = words.position(|word| ["M1", "2026"].contains(&word));
        assert_eq!(found, None, "{:?}", words.take(10).collect::<Vec<_>>());
    }
}

/// German has its own numbers, dates and names of sites.
#[test]
fn german_reads_as_german() {
    let mut study = fixture::full();
    study.settings.study.language = Language::German;
    let report = study.report();
    assert!(report.html.contains("<html lang=\"de\""));
    for part in [
        "März 2026",
        "31.03.2026 23:00",
        "Unterer Rücken",
        "9,6",
        "2 Personen",
    ] {
        assert!(
            report.markdown.contains(part) || report.html.contains(part),
            "{part}"
        );
    }
    for english in [
        "Lower back",
        "fell off",
        "Each row",
        "interval of",
        "log-rank",
    ] {
        assert!(!report.markdown.contains(english), "{english}");
    }
}

/// In a report to one of several, sections of tables without a wearer count everyone, and speak of no one's own.
#[test]
fn what_counts_everyone_is_not_called_ones_own() {
    for (language, own, of_all) in [
        (
            Language::English,
            [
                "## Your skin",
                "## Your nights",
                "How your sensors ended",
                "you were low",
                "is your only site",
            ],
            ["## Everyone's skin", "## Everyone's nights"],
        ),
        (
            Language::German,
            [
                "## Ihre Haut",
                "## Ihre Nächte",
                "Wie Ihre Sensoren endeten",
                "Sie niedrig",
                "Ihre einzige Stelle",
            ],
            ["## Die Haut aller Personen", "## Die Nächte aller Personen"],
        ),
    ] {
        let mut study = fixture::full();
        study.settings.study.language = language;
        let alone = study.edition(Edition::Wearer).markdown;
        study.wearer = Some("Keeper Ines");
        let markdown = study.edition(Edition::Wearer).markdown;
        for words in own {
            assert!(!markdown.contains(words), "{words}");
        }
        for words in of_all {
            assert!(
                markdown.contains(words) && !alone.contains(words),
                "{words}"
            );
        }
        assert!(
            alone.contains(own[0]),
            "a report of all has the reader's own words"
        );
    }
}

/// By hand: the picture has the dots of one wearer, the table below it the spread over everyone's sensors.
#[test]
fn everyone_is_not_counted_above_a_picture_of_ones_own() {
    let mut study = fixture::full();
    let columns = "site;sensors;sd_between;sd_within;drift";
    let rows = ["abdomen;8;9.8;12.1;0.2".to_owned()];
    let steadiness = fixture::table("site_steadiness", "SELECT 1", columns, &rows);
    study.tables.push(steadiness);
    study.wearer = Some("Keeper Odd");
    let markdown = study.edition(Edition::Wearer).markdown;
    let section = markdown
        .split("\n### Do your sensors agree?")
        .nth(1)
        .unwrap();
    let said = |words: &str| section.find(words).unwrap();
    assert!(said("(figures/sensor_accuracy.svg)") < said("Everyone here is counted, 2 people."));
}

/// What the first points leave out is where they say it is.
#[test]
fn the_rest_of_the_claims_is_found() {
    for (language, edition, said, there) in [
        (
            Language::English,
            Edition::Wearer,
            "more under “All comparisons” below",
            "All comparisons: [Site against site](tables/conclusions.csv)",
        ),
        (
            Language::German,
            Edition::Wearer,
            "weitere unten bei „Alle Vergleiche“",
            "Alle Vergleiche: [Stelle gegen Stelle](tables/conclusions.csv)",
        ),
        (
            Language::English,
            Edition::Public,
            "more below, pair by pair",
            "## Which sites differ, pair by pair?",
        ),
        (
            Language::English,
            Edition::Clinician,
            "more in the annex",
            "### Which sites differ, pair by pair?",
        ),
    ] {
        let mut study = fixture::full();
        study.settings.study.language = language;
        let markdown = study.edition(edition).markdown;
        assert!(markdown.contains(said), "{said}: {markdown}");
        assert!(markdown.contains(there), "{there}: {markdown}");
    }
}

//! A page of Markdown by itself, in the report's dress.

use crate::escape::{clean, html as escape};
use crate::html::{POLICY, STYLE};
use crate::palette;
use crate::serialise::html;
use whereworn_model::settings::Language;

/// One file without script and without any request, from Markdown that the program wrote: text of the study's own in it has
/// to be escaped. Its first line, a heading, is the title.
#[must_use]
pub fn page_of_markdown(language: Language, markdown: &str) -> String {
    let lang = match language {
        Language::English => "en",
        Language::German => "de",
    };
    let heading = markdown.lines().next().unwrap_or_default();
    let title = heading.trim_start_matches("# ").replace('\\', "");
    format!(
        "<!DOCTYPE html>\n<html lang=\"{lang}\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{title}</title>\n<style>\n{colours}{STYLE}</style>\n</head>\n<body>\n<main>\n{body}</main>\n</body>\n</html>\n",
        title = escape(&clean(&title)),
        colours = palette::css(),
        body = html(markdown, &[]),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markdown_becomes_a_page_and_html_stays_text() {
        let markdown = "# A \\<plan\\>\n\n- **one** <script>alert(1)</script>\n";
        let page = page_of_markdown(Language::German, markdown);
        assert!(page.contains("<html lang=\"de\">"), "{page}");
        assert!(page.contains("<title>A &lt;plan&gt;</title>"), "{page}");
        assert!(
            page.contains("<h1>A &lt;plan&gt;</h1>") && page.contains("<li><strong>one</strong>"),
            "{page}"
        );
        assert!(!page.contains("<script"), "{page}");
        assert!(page.contains("default-src 'none'") && page.contains("width=device-width"));
    }
}

//! The page around the body: one file, without script and without any request.

use crate::context::Context;
use crate::document::Picture;
use crate::escape::{clean, html as escape};
use crate::palette;
use crate::serialise::{Parts, body};

const STYLE: &str = include_str!("style.css");

/// The HTML of a report's Markdown, its figures drawn into it.
pub(crate) fn page(context: &Context, markdown: &str, pictures: &[&Picture]) -> String {
    let figure = |address: &str| {
        let name = address.strip_prefix("figures/")?.strip_suffix(".svg")?;
        let picture = pictures.iter().find(|picture| picture.name == name)?;
        Some(picture.wide.inline(picture, "wide") + &picture.narrow.inline(picture, "narrow"))
    };
    let parts = Parts {
        figure: &figure,
        summary: &context.text.table.figure_numbers,
        contents: &context.text.page.contents,
    };
    let title = format!(
        "{}, {}",
        context.input.settings.study.title,
        context.month()
    );
    format!(
        "<!DOCTYPE html>\n<html lang=\"{lang}\" dir=\"{dir}\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{title}</title>\n<style>\n{colours}{STYLE}</style>\n</head>\n<body>\n\
         <a class=\"skip\" href=\"#report\">{skip}</a>\n<main id=\"report\">\n{body}</main>\n</body>\n</html>\n",
        lang = escape(&context.text.language),
        dir = escape(&context.text.direction),
        title = escape(&clean(&title)),
        colours = palette::css(),
        skip = escape(&context.text.page.skip),
        body = body(markdown, &parts),
    )
}

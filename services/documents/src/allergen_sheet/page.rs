//! The allergen sheet as an HTML page: nothing to load, no script, for the screen and for paper.

use super::{AllergenSheet, MAY_CONTAIN_WORDS, SheetAnswer, SheetRow, TITLE};
use crate::cell::{one_line, plain};

/// Contrast of every pair of text and ground is above 7 : 1, more than WCAG 2.2 asks at level AA (1.4.3).
const STYLE: &str = include_str!("page.css");

/// More columns than the long side of the paper has room for in letters of the usual size.
const MANY: usize = 16;

/// The whole page.
pub(super) fn page(sheet: &AllergenSheet) -> String {
    let mut page = String::new();
    let title = format!("{TITLE}: {}", sheet.site);
    add(
        &mut page,
        &format!("<!DOCTYPE html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n", text(&sheet.language)),
    );
    add(&mut page, "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n");
    add(&mut page, "<meta name=\"color-scheme\" content=\"light dark\">\n");
    add(
        &mut page,
        &format!("<title>{}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n<main>\n", text(&one_line(&title))),
    );
    add(&mut page, &format!("<h1>{}</h1>\n", text(&title)));
    head(&mut page, sheet);
    table(&mut page, sheet);
    legend(&mut page, sheet);
    add(&mut page, &format!("<p class=\"caution\">{}</p>\n</main>\n</body>\n</html>\n", text(&sheet.caution)));
    page
}

fn head(page: &mut String, sheet: &AllergenSheet) {
    add(page, &format!("<p>{}. As of journal entry {}.", sheet.day.format("%Y-%m-%d"), sheet.journal_position));
    add(page, &format!(" Printed {}.", text(&sheet.printed_at)));
    if !sheet.list_names.is_empty() {
        add(page, &format!(" Allergens of: {}.", text(&sheet.list_names.join("; "))));
    }
    add(page, &format!("</p>\n<p class=\"caution\">{}</p>\n", text(&sheet.caution)));
    if !sheet.held.is_empty() {
        add(page, "<section class=\"held\" aria-label=\"On hold\">\n<h2>On hold: do not serve</h2>\n<ul>\n");
        for line in &sheet.held {
            add(page, &format!("<li>{}</li>\n", text(line)));
        }
        add(page, "</ul>\n</section>\n");
    }
}

fn table(page: &mut String, sheet: &AllergenSheet) {
    add(page, "<div class=\"wide\" role=\"region\" aria-label=\"The table\" tabindex=\"0\">\n");
    // On paper they are printed smaller.
    let many = if sheet.columns.len() > MANY { " class=\"many\"" } else { "" };
    add(page, &format!("<table{many}>\n"));
    let caption = format!("What was recorded about the flavours in the case of {}", sheet.site);
    add(page, &format!("<caption>{}</caption>\n<thead>\n<tr><th scope=\"col\">Flavour and tubs</th>", text(&caption)));
    for column in &sheet.columns {
        add(page, &format!("<th scope=\"col\">{}</th>", text(column)));
    }
    add(page, "</tr>\n</thead>\n<tbody>\n");
    for row in &sheet.rows {
        table_row(page, row);
    }
    if sheet.rows.is_empty() {
        add(page, &format!("<tr><td colspan=\"{}\">Nothing is open in the case.</td></tr>\n", sheet.columns.len() + 1));
    }
    add(page, "</tbody>\n</table>\n</div>\n");
}

fn table_row(page: &mut String, row: &SheetRow) {
    add(page, &format!("<tr><th scope=\"row\">{}", text(&row.flavour)));
    if !row.tubs.is_empty() {
        add(page, &format!("<small>{}</small>", text(&row.tubs.join(", "))));
    }
    add(page, "</th>");
    for answer in &row.cells {
        add(page, &format!("<td class=\"{}\">{}</td>", class(*answer), words(*answer)));
    }
    add(page, "</tr>\n");
}

fn legend(page: &mut String, sheet: &AllergenSheet) {
    add(page, "<section aria-label=\"What the words mean\">\n<h2>What the words mean</h2>\n<dl>\n");
    for (answer, meaning) in sheet.legend.lines() {
        let class = class(answer);
        add(page, &format!("<div><dt class=\"{class}\">{}</dt><dd>{}</dd></div>\n", words(answer), text(meaning)));
    }
    add(page, "</dl>\n</section>\n");
}

fn class(answer: SheetAnswer) -> &'static str {
    match answer {
        SheetAnswer::Contains => "contains",
        SheetAnswer::MayContain => "may-contain",
        SheetAnswer::Unknown => "unknown",
        SheetAnswer::NotRecorded => "not-recorded",
    }
}

/// The dash is read out as what it stands for.
fn words(answer: SheetAnswer) -> String {
    match answer {
        SheetAnswer::Contains => "contains".to_owned(),
        SheetAnswer::MayContain => MAY_CONTAIN_WORDS.join(" "),
        SheetAnswer::Unknown => "unknown&nbsp;?".to_owned(),
        SheetAnswer::NotRecorded => {
            "<span aria-hidden=\"true\">–</span><span class=\"spoken\">not recorded</span>".to_owned()
        }
    }
}

fn add(page: &mut String, html: &str) {
    page.push_str(html);
}

/// The text, so that nothing of it is taken for HTML.
fn text(text: &str) -> String {
    let mut escaped = String::new();
    for character in plain(text).chars() {
        match character {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            // Characters that turn the direction of what follows them.
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => escaped.push('\u{fffd}'),
            _ => escaped.push(character),
        }
    }
    escaped
}

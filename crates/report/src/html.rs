//! The page: one file that fetches nothing and runs nothing.

mod page;

use std::fmt::Write as _;

use base::{Finding, Findings, Level, Task};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use crate::input::{PoleView, ReportError, ReportInput, StageView, Table};
use crate::json::level_name;
use crate::pictures::{Legend, Picture, Swatch, pictures};
use page::Page;

/// The whole report as one HTML page (HTML Living Standard), pictures and all.
///
/// It follows the reader's choice of light or dark, needs no script and refers to nothing outside
/// itself. All texts are escaped.
///
/// # Errors
/// As [`pictures`].
pub fn html(input: &ReportInput, task: &Task) -> Result<String, ReportError> {
    Ok(html_with(input, &pictures(input, task)?))
}

/// The page as [`html`] makes it, around pictures that are there already.
pub fn html_with(input: &ReportInput, pictures: &[Picture]) -> String {
    let (quads, guides) = (input.surface.quads.len(), input.guides.len());
    let what = format!(
        "{quads} quads, {guides} guides, {} poles.",
        input.poles.len()
    );
    page::page(&Page {
        title: input.title,
        summary: page::summary(input.findings, &what),
        findings: input.findings,
        links: &[],
        pictures,
        poles: input.poles,
        tables: input.tables,
        stages: input.stages,
        source: ["Job", "The job file", input.job_text],
    })
}

/// What the page of a whole figure shows.
#[derive(Clone, Copy)]
pub struct FigurePage<'a> {
    /// The figure's name.
    pub title: &'a str,
    /// What it is made of, a sentence or two.
    pub what: &'a str,
    /// What was checked.
    pub findings: &'a Findings,
    /// Names of parts with where their own reports are, relative to this page.
    pub links: &'a [(String, String)],
    /// Pictures in the order in which they are shown.
    pub pictures: &'a [Picture],
    /// Tables.
    pub tables: &'a [Table],
    /// Text of the set file.
    pub set_text: &'a str,
}

/// The report of a whole figure, as [`html`] for a part.
pub fn figure_html(figure: &FigurePage) -> String {
    page::page(&Page {
        title: figure.title,
        summary: page::summary(figure.findings, figure.what),
        findings: figure.findings,
        links: figure.links,
        pictures: figure.pictures,
        poles: &[],
        tables: figure.tables,
        stages: &[],
        source: ["Set", "The set file", figure.set_text],
    })
}

/// Findings as they are listed: fails first, otherwise in the order in which they were made.
pub(crate) fn in_order(findings: &Findings) -> Vec<&Finding> {
    let mut listed: Vec<&Finding> = findings.iter().collect();
    listed.sort_by_key(|f| std::cmp::Reverse(f.level));
    listed
}

/// Text that can stand between tags and in quoted attributes.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Control characters aren't allowed in HTML, other than white space.
            c if c.is_control() && !matches!(c, '\n' | '\t') => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests;

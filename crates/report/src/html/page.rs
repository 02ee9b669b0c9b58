//! The parts of the page.

use super::*;

const STYLE: &str = include_str!("style.css");

/// What a page shows, from its top down.
pub(super) struct Page<'a> {
    pub title: &'a str,
    /// A sentence on how it came out.
    pub summary: String,
    pub findings: &'a Findings,
    /// Texts with the pages that they lead to.
    pub links: &'a [(String, String)],
    pub pictures: &'a [Picture],
    pub poles: &'a [PoleView],
    pub tables: &'a [Table],
    pub stages: &'a [StageView],
    /// Heading, what it is, and text of the file that was run; none if empty.
    pub source: [&'a str; 3],
}

pub(super) fn page(page: &Page) -> String {
    let title = escaped(page.title);
    let ready = page.findings.is_ready();
    let verdict = if ready { "Ready" } else { "Not ready" };
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{title}: {verdict}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n"
    );
    let class = if ready { "ready" } else { "unready" };
    let _ = writeln!(
        out,
        "<header class=\"{class}\"><p class=\"part\">{title}</p><h1>{verdict}</h1><p>{}</p></header>\n<main>",
        escaped(&page.summary)
    );
    links_part(&mut out, page.links);
    findings_part(&mut out, page.findings);
    pictures_part(&mut out, page.pictures);
    poles_part(&mut out, page.poles);
    for table in page.tables {
        let _ = writeln!(out, "<section><h2>{}</h2>", escaped(&table.title));
        table_part(&mut out, table);
        out.push_str("</section>\n");
    }
    stages_part(&mut out, page.stages);
    let [heading, what, text] = page.source.map(escaped);
    if !text.is_empty() {
        let _ = writeln!(
            out,
            "<section><h2>{heading}</h2><details><summary>{what}</summary><pre>{text}</pre></details></section>",
        );
    }
    out.push_str("</main>\n</body>\n</html>\n");
    out
}

fn links_part(out: &mut String, links: &[(String, String)]) {
    if links.is_empty() {
        return;
    }
    let link = |(text, to): &(String, String)| {
        format!("<li><a href=\"{}\">{}</a></li>", escaped(to), escaped(text))
    };
    let links: String = links.iter().map(link).collect();
    let _ = writeln!(
        out,
        "<section><h2>Reports of the parts</h2><ul>{links}</ul></section>"
    );
}

/// One sentence on how it came out.
pub(super) fn summary(findings: &Findings, what: &str) -> String {
    let count = |level, one: &str, many: &str| match findings.count(level) {
        0 => None,
        1 => Some(format!("1 {one}")),
        n => Some(format!("{n} {many}")),
    };
    let parts: Vec<String> = [
        count(Level::Fail, "check fails", "checks fail"),
        count(Level::Warn, "is worth a look", "are worth a look"),
        count(Level::Pass, "check holds", "checks hold"),
    ]
    .into_iter()
    .flatten()
    .collect();
    let findings = if parts.is_empty() {
        "Nothing was checked".to_owned()
    } else {
        parts.join(", ")
    };
    format!("{findings}. {what}")
}

fn findings_part(out: &mut String, findings: &Findings) {
    out.push_str("<section><h2>Findings</h2>\n");
    out.push_str("<div class=\"wide\"><table><thead><tr><th scope=\"col\">No.</th><th scope=\"col\">Result</th><th scope=\"col\">Finding</th><th scope=\"col\" class=\"number\">Value</th><th scope=\"col\" class=\"number\">Limit</th></tr></thead><tbody>\n");
    for (i, finding) in in_order(findings).into_iter().enumerate() {
        let level = level_name(finding.level);
        let number = |value: Option<f64>| value.map(figure).unwrap_or_default();
        let _ = writeln!(
            out,
            "<tr class=\"{level}\"><td class=\"number\">{}</td><td><span class=\"level\">{level}</span></td><td>{}{}<br><code>{}</code></td><td class=\"number\">{}</td><td class=\"number\">{}</td></tr>",
            i + 1,
            escaped(&finding.sentence),
            places(finding),
            escaped(&finding.code),
            number(finding.value),
            number(finding.limit),
        );
    }
    out.push_str("</tbody></table></div></section>\n");
}

/// Names the places of a finding, the first few of them.
fn places(finding: &Finding) -> String {
    use base::Place;
    const NAMED: usize = 6;
    let name = |place: &Place| match place {
        Place::Point { at } => format!("point {}", at.map(figure).join(", ")),
        Place::Vertex { id, .. } => format!("vertex {id}"),
        Place::Face { id, .. } => format!("quad {id}"),
        Place::Guide { name } => format!("guide \u{201c}{name}\u{201d}"),
    };
    let mut named: Vec<String> = finding.places.iter().take(NAMED).map(name).collect();
    if finding.places.len() > NAMED {
        named.push(format!("and {} more", finding.places.len() - NAMED));
    }
    if named.is_empty() {
        String::new()
    } else {
        format!(" <span class=\"at\">{}</span>", escaped(&named.join("; ")))
    }
}

/// Up to four digits that count.
fn figure(value: f64) -> String {
    if !value.is_finite() {
        return "\u{2013}".to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let size = value.abs();
    if !(1e-4..1e9).contains(&size) {
        return format!("{value:.3e}");
    }
    let digits = (3 - size.log10().floor() as i32).clamp(0, 8) as usize;
    let text = format!("{value:.digits$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

fn pictures_part(out: &mut String, pictures: &[Picture]) {
    for group in pictures.chunk_by(|a, b| a.section == b.section) {
        let Some(first) = group.first() else { continue };
        let _ = writeln!(
            out,
            "<section><h2>{}</h2><div class=\"pictures\">",
            escaped(&first.section)
        );
        for picture in group {
            let caption = escaped(&picture.caption);
            let _ = writeln!(
                out,
                "<figure id=\"{}\"><img loading=\"lazy\" alt=\"{caption}\" src=\"data:image/png;base64,{}\"><figcaption>{caption}{}</figcaption></figure>",
                escaped(&picture.name),
                STANDARD.encode(&picture.png),
                legend(&picture.legend),
            );
        }
        out.push_str("</div></section>\n");
    }
}

fn legend(swatches: &[Swatch]) -> String {
    if swatches.is_empty() {
        return String::new();
    }
    let entries: Vec<String> = swatches
        .iter()
        .map(|s| format!("<li>{}{}</li>", sign(s), escaped(&s.label)))
        .collect();
    format!("<ul class=\"legend\">{}</ul>", entries.join(""))
}

/// A small drawing of a legend's sign.
fn sign(swatch: &Swatch) -> String {
    let colour = escaped(&swatch.colour);
    let drawing = match swatch.form {
        Legend::Area => {
            format!("<rect x=\"2\" y=\"2\" width=\"20\" height=\"12\" fill=\"{colour}\"/>")
        }
        Legend::Solid => format!("<path d=\"M1 8H23\" stroke=\"{colour}\" stroke-width=\"4\"/>"),
        Legend::Dashed => format!(
            "<path d=\"M1 8H23\" stroke=\"{colour}\" stroke-width=\"4\" stroke-dasharray=\"9 4\"/>"
        ),
        Legend::Double => format!(
            "<path d=\"M1 8H23\" stroke=\"{colour}\" stroke-width=\"6\"/><path d=\"M1 8H23\" stroke=\"#fff\" stroke-width=\"1.6\"/>"
        ),
        Legend::Polygon(sides) => {
            let sides = sides.max(3);
            let points: Vec<String> = (0..sides)
                .map(|i| {
                    let angle = std::f64::consts::TAU * f64::from(i) / f64::from(sides);
                    format!(
                        "{:.2},{:.2}",
                        12.0 + 7.0 * angle.sin(),
                        8.0 - 7.0 * angle.cos()
                    )
                })
                .collect();
            format!(
                "<polygon points=\"{}\" fill=\"{colour}\" stroke=\"#fff\"/>",
                points.join(" ")
            )
        }
    };
    format!(
        "<svg viewBox=\"0 0 24 16\" width=\"24\" height=\"16\" aria-hidden=\"true\">{drawing}</svg>"
    )
}

fn poles_part(out: &mut String, poles: &[PoleView]) {
    if poles.is_empty() {
        return;
    }
    let table = Table {
        title: String::new(),
        headings: ["Vertex", "Edges that meet", "Why it is there"]
            .map(String::from)
            .to_vec(),
        rows: poles
            .iter()
            .map(|p| {
                vec![
                    p.vertex.to_string(),
                    p.valence.to_string(),
                    p.reason.clone(),
                ]
            })
            .collect(),
    };
    let _ = writeln!(
        out,
        "<section><h2>Reasons for poles</h2><details><summary>{} poles</summary>",
        poles.len()
    );
    table_part(out, &table);
    out.push_str("</details></section>\n");
}

fn stages_part(out: &mut String, stages: &[StageView]) {
    if stages.is_empty() {
        return;
    }
    let total: f64 = stages.iter().map(|s| s.seconds).sum();
    let mut rows: Vec<Vec<String>> = stages
        .iter()
        .map(|s| {
            vec![
                s.name.clone(),
                format!("{:.2}", s.seconds),
                format!("{:.0}", s.peak_mb),
            ]
        })
        .collect();
    rows.push(vec!["all".to_owned(), format!("{total:.2}"), String::new()]);
    let headings = ["Stage", "Time, s", "Most memory, MB"]
        .map(String::from)
        .to_vec();
    out.push_str("<section><h2>Stages</h2>\n");
    table_part(
        out,
        &Table {
            title: String::new(),
            headings,
            rows,
        },
    );
    out.push_str("</section>\n");
}

fn table_part(out: &mut String, table: &Table) {
    let columns = table
        .rows
        .iter()
        .map(Vec::len)
        .max()
        .unwrap_or(0)
        .max(table.headings.len());
    let cell = |row: &[String], i: usize| row.get(i).map(|t| escaped(t)).unwrap_or_default();
    let numeric: Vec<bool> = (0..columns)
        .map(|i| {
            let mut cells = table
                .rows
                .iter()
                .filter_map(|r| r.get(i))
                .filter(|c| !c.is_empty())
                .peekable();
            cells.peek().is_some()
                && cells.all(|c| c.trim_end_matches('%').trim().parse::<f64>().is_ok())
        })
        .collect();
    let class = |i: usize| if numeric[i] { " class=\"number\"" } else { "" };
    out.push_str("<div class=\"wide\"><table><thead><tr>");
    for i in 0..columns {
        let _ = write!(
            out,
            "<th scope=\"col\"{}>{}</th>",
            class(i),
            cell(&table.headings, i)
        );
    }
    out.push_str("</tr></thead><tbody>\n");
    for row in &table.rows {
        out.push_str("<tr>");
        for i in 0..columns {
            let _ = write!(out, "<td{}>{}</td>", class(i), cell(row, i));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div>\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_short() {
        assert_eq!(
            [0.0, 1800.0, 0.012_345, 2.0, -2.71239, 12_345_678.0].map(figure),
            ["0", "1800", "0.01235", "2", "-2.712", "12345678"]
        );
        assert_eq!(figure(1e-9), "1.000e-9");
        assert_eq!(figure(f64::NAN), "\u{2013}");
    }
}

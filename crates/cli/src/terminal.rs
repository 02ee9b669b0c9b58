//! Lines on the terminal.

use std::fmt::Write as _;
use std::io::Write as _;

use base::{Finding, Findings, Level, Place};
use serde_json::{Value, json};

use crate::args;
use crate::figure::Made;
use crate::output::Done;
use crate::tables;

/// Places of a finding that are named.
const NAMED: usize = 3;

/// Says on standard error what is wrong.
pub fn complain(message: &str) {
    // Nowhere left to say it, if this fails.
    let _ = writeln!(std::io::stderr(), "loopwright: {message}");
}

/// Says on standard output, for programs, that there is no surface.
pub fn refused_json(message: &str) {
    say(&pretty(&refused(message)));
}

fn refused(message: &str) -> Value {
    json!({ "ready": false, "refused": message })
}

/// Says how it went.
pub fn print(done: &Done, common: &args::Common) {
    if common.json {
        say(&pretty(&with_stages(done)));
    } else if !common.quiet {
        say(&words(done, common.verbose));
    }
}

/// Says how one of many runs went: on one line, unless everything is asked for.
pub fn print_in_line(done: &Done, common: &args::Common) {
    if common.json {
        say(&format!("{}\n", with_stages(done)));
    } else if !common.quiet && common.verbose {
        say(&words(done, true));
    } else if !common.quiet {
        say(&in_line(done));
    }
}

/// Says how one part of a figure went, unless only the figure's result is asked for.
pub fn print_part(name: &str, part: &Made, common: &args::Common) {
    if common.quiet || common.json {
        return;
    }
    let poles = part.measure("poles", "poles").unwrap_or_default();
    let quads = part.surface.quads.len();
    let how = if part.is_ready() {
        "ready"
    } else {
        "not ready"
    };
    let kept = if part.kept { ", as it was" } else { "" };
    say(&format!(
        "  {name}: {how}, {quads} quads, {poles} poles{kept}\n"
    ));
}

/// Says why one of many runs gave no surface; for programs, on one line of standard output too.
pub fn refuse_in_line(message: &str, common: &args::Common) {
    complain(message);
    if common.json {
        say(&format!("{}\n", refused(message)));
    }
}

/// Shows a table, or the same as JSON.
pub fn show(text: &str, json: &Value, common: &args::Common) {
    if common.json {
        say(&pretty(json));
    } else if !common.quiet {
        say(text);
    }
}

/// A reader that went away is no reason to fail: the files are written.
pub fn say(text: &str) {
    let _ = std::io::stdout().lock().write_all(text.as_bytes());
}

fn pretty(json: &Value) -> String {
    format!("{json:#}\n")
}

/// findings.json with what the stages cost and where the files are.
fn with_stages(done: &Done) -> Value {
    let mut json = done.json.clone();
    let stage = |s: &report::StageView| json!({ "name": s.name, "seconds": s.seconds, "peak_mb": s.peak_mb });
    json["stages"] = done.stages.iter().map(stage).collect();
    json["folder"] = match &done.folder {
        Some(folder) => Value::from(folder.to_string_lossy()),
        None => Value::Null,
    };
    json
}

fn words(done: &Done, verbose: bool) -> String {
    let mut out = String::new();
    for finding in sorted(&done.findings) {
        if verbose || matches!(finding.level, Level::Fail | Level::Warn) {
            let word = match finding.level {
                Level::Fail => "fails",
                Level::Warn => "look",
                Level::Note => "note",
                Level::Pass => "holds",
            };
            let _ = writeln!(out, "{word:>5}  {}{}", finding.sentence, places(finding));
        }
    }
    if verbose {
        for table in &done.tables {
            let _ = write!(out, "\n{}", tables::text(table));
        }
        let _ = writeln!(out, "\nStages");
        for stage in &done.stages {
            let (name, seconds, peak) = (&stage.name, stage.seconds, stage.peak_mb);
            let _ = writeln!(out, "  {name:<12} {seconds:8.3} s {peak:7.0} MB");
        }
        out.push('\n');
    }
    verdict(&mut out, done, None);
    out
}

fn in_line(done: &Done) -> String {
    let mut out = String::new();
    let mut findings = done.findings.iter();
    verdict(&mut out, done, findings.find(|f| f.level == Level::Fail));
    out
}

/// How it went, on a line; `first` is a finding that fails and was told of nowhere else.
fn verdict(out: &mut String, done: &Done, first: Option<&Finding>) {
    let findings = &done.findings;
    let _ = write!(
        out,
        "{}: {}: {} quads, {} poles, {} checks hold, {} fail",
        if findings.is_ready() {
            "Ready"
        } else {
            "Not ready"
        },
        done.name,
        done.quads,
        done.poles,
        findings.count(Level::Pass),
        findings.count(Level::Fail),
    );
    match first {
        Some(first) => _ = write!(out, ", first: {}{}", first.sentence, places(first)),
        None => out.push('.'),
    }
    if let Some(folder) = &done.folder {
        let _ = write!(out, " See {}", folder.join("report.html").display());
    }
    out.push('\n');
}

/// Fails first, otherwise in the order in which they were made.
fn sorted(findings: &Findings) -> Vec<&Finding> {
    let mut all: Vec<&Finding> = findings.iter().collect();
    all.sort_by_key(|finding| std::cmp::Reverse(finding.level));
    all
}

/// The first few places, from 0 as in the findings.
fn places(finding: &Finding) -> String {
    let name = |place: &Place| match place {
        Place::Point { at } => format!("({:.2}, {:.2}, {:.2})", at[0], at[1], at[2]),
        Place::Vertex { id, .. } => format!("vertex {id}"),
        Place::Face { id, .. } => format!("quad {id}"),
        Place::Guide { name } => format!("guide '{name}'"),
    };
    let mut named: Vec<String> = finding.places.iter().take(NAMED).map(name).collect();
    if finding.places.len() > NAMED {
        named.push(format!("{} more", finding.places.len() - NAMED));
    }
    match named.as_slice() {
        [] => String::new(),
        named => format!(" [{}]", named.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn done() -> Done {
        let mut findings = Findings::default();
        findings.push(Finding::new("quads-only", Level::Pass, "All quads."));
        let mut finding = Finding::new("squeezed", Level::Fail, "4 quads are squeezed.");
        for id in 0..4 {
            finding = finding.at(Place::Face { id, at: [0.0; 3] });
        }
        findings.push(finding);
        Done {
            name: "oilskin coat".into(),
            quads: 1800,
            poles: 12,
            json: report::findings_json(&findings, &[]),
            findings,
            tables: vec![],
            stages: vec![report::StageView {
                name: "field".into(),
                seconds: 0.25,
                peak_mb: 80.0,
            }],
            files: vec![],
            pictures: vec![],
            folder: Some("out".into()),
        }
    }

    #[test]
    fn faults_come_first_with_their_places_and_the_verdict_last() {
        let text = words(&done(), false);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(
            lines[0],
            "fails  4 quads are squeezed. [quad 0, quad 1, quad 2, 1 more]"
        );
        assert!(lines[1].starts_with("Not ready: oilskin coat: 1800 quads, 12 poles"));
        assert!(words(&done(), true).contains("holds  All quads."));
    }

    #[test]
    fn one_of_many_runs_has_a_line_with_its_first_fault() {
        let mut done = done();
        assert_eq!(
            in_line(&done),
            "Not ready: oilskin coat: 1800 quads, 12 poles, 1 checks hold, 1 fail, first: \
                4 quads are squeezed. [quad 0, quad 1, quad 2, 1 more] See out/report.html\n"
        );
        done.findings = Findings::default();
        let line = in_line(&done);
        assert!(
            line.ends_with("0 checks hold, 0 fail. See out/report.html\n"),
            "{line}"
        );
    }

    #[test]
    fn programs_get_the_findings_and_the_stages() {
        let json = with_stages(&done());
        assert_eq!(json["ready"], false);
        assert_eq!(json["stages"][0]["peak_mb"], 80.0);
        assert_eq!(json["folder"], "out");
    }
}

//! What a run leaves: files, and lines on the terminal.

use std::error::Error;
use std::path::Path;

use base::{Findings, Level, Task};
use engine::check::Measures;
use engine::model::{Guide, GuideKind, Sculpt};
use files::JobFile;
use report::{GuideView, PoleView, ReportInput, StageView, Table};
use session::Outcome;

use crate::args;

/// A run that came through.
pub struct Finished<'a> {
    pub job: &'a JobFile,
    pub sculpt: &'a Sculpt,
    pub outcome: &'a Outcome,
    pub guides: &'a [Guide],
    pub findings: &'a Findings,
    pub measures: &'a Measures,
    pub stages: &'a [StageView],
}

/// Writes surface.obj, surface.glb, findings.json and report.html, all or none.
pub fn write(finished: &Finished<'_>, out: &Path, common: &args::Common, task: &Task) -> Result<(), Box<dyn Error>> {
    let name = &finished.job.spec().name;
    let surface = &finished.outcome.surface;
    let guides: Vec<GuideView> = finished
        .guides
        .iter()
        .map(|g| GuideView {
            name: g.name.clone(),
            kind: match g.kind {
                GuideKind::Ring => "ring",
                GuideKind::Line => "line",
                GuideKind::Opening => "opening",
            }
            .to_owned(),
            closed: g.closed,
            points: g.points.clone(),
        })
        .collect();
    let poles: Vec<PoleView> = finished
        .outcome
        .poles
        .iter()
        .map(|p| PoleView { vertex: p.vertex, valence: p.valence, reason: p.reason.clone() })
        .collect();
    let tables = [finished.measures.table(), guide_table(finished.measures)];
    let text = finished.job.text();
    let mut all = vec![
        ("surface.obj".to_owned(), files::obj_text(surface, &format!("Loopwright: {name}"))),
        ("surface.glb".to_owned(), files::glb(surface, name, finished.outcome.plane.map(|p| (p.origin, p.normal)))?),
        (
            "findings.json".to_owned(),
            serde_json::to_vec_pretty(&report::findings_json(finished.findings, &tables))?,
        ),
    ];
    if common.pictures > 0 {
        let input = ReportInput {
            title: name,
            sculpt: &finished.sculpt.index,
            surface,
            guides: &guides,
            poles: &poles,
            patch_of_quad: &finished.outcome.patch_of_quad,
            findings: finished.findings,
            stages: finished.stages,
            tables: &tables,
            job_text: &text,
            picture_px: common.pictures,
        };
        all.push(("report.html".to_owned(), report::html(&input, task)?.into_bytes()));
    }
    let files: Vec<(&str, &[u8])> = all.iter().map(|(n, b)| (n.as_str(), b.as_slice())).collect();
    files::write_all_or_none(out, &files)?;
    Ok(())
}

fn guide_table(measures: &Measures) -> Table {
    measures.guide_table()
}

/// Says how it went.
pub fn print(findings: &Findings, outcome: &Outcome, stages: &[StageView], out: &Path, common: &args::Common) {
    if common.json {
        if let Ok(text) = serde_json::to_string_pretty(&serde_json::json!({
            "ready": findings.is_ready(),
            "faces": outcome.surface.quads.len(),
            "findings": findings,
        })) {
            println!("{text}");
        }
        return;
    }
    if common.quiet {
        return;
    }
    for finding in findings.iter() {
        let shown = match finding.level {
            Level::Fail | Level::Warn => true,
            Level::Note | Level::Pass => common.verbose,
        };
        if shown {
            let word = match finding.level {
                Level::Fail => "fails",
                Level::Warn => "look",
                Level::Note => "note",
                Level::Pass => "holds",
            };
            println!("{word:>6}  {}", finding.sentence);
        }
    }
    if common.verbose {
        for stage in stages {
            println!("{:>10} {:7.3} s {:8.0} MB", stage.name, stage.seconds, stage.peak_mb);
        }
    }
    println!(
        "{}: {} quads, {} poles, {} checks hold, {} fail. {}",
        if findings.is_ready() { "Ready" } else { "Not ready" },
        outcome.surface.quads.len(),
        outcome.poles.len(),
        findings.count(Level::Pass),
        findings.count(Level::Fail),
        out.display()
    );
}

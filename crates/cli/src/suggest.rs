//! `loopwright suggest`: job file in, a copy of it with proposed guides out.

use std::path::Path;

use engine::model::{GuideKind, Plane};
use engine::suggest::{self, Proposal, SuggestOptions};
use engine::symmetry::{self, PlaneChoice};
use files::{GuideSpec, JobFile};
use mesh::DVec3;
use report::Table;
use serde_json::json;

use crate::args;
use crate::job::{self, Order};
use crate::progress::Meter;
use crate::refusal::Refusal;
use crate::sculpt::{self, Source, Taken};
use crate::{tables, terminal};

/// Decimals that drawn points keep, per step of a quad: a thousandth of one is enough.
const STEPS_PER_QUAD: f64 = 1000.0;

/// Proposes guides and writes the copy; always ready, even with nothing to propose.
///
/// # Errors
/// [`Refusal`]; nothing was written then.
pub fn run(args: &args::Suggest, meter: &Meter) -> Result<bool, Refusal> {
    let order = Order::of(job::read(&args.job)?);
    let settings = order.settings()?;
    let sculpt_file = order.file.sculpt_path();
    if let Some(copy) = &args.out {
        check_copy(copy, &[&args.job, &sculpt_file])?;
    }
    let source = Source {
        file: &sculpt_file,
        file_place: order.place("sculpt", "file"),
        part: order.spec.sculpt.part.as_ref(),
        part_place: order.place("sculpt", "part"),
        guides: &settings.guides,
    };
    let Taken { sculpt, .. } = sculpt::take_in(&source, meter)?;
    let area = sculpt.mesh.area();
    order.check_edge(area)?;
    let plane: Option<Plane> = match settings.plane {
        PlaneChoice::None => None,
        choice => symmetry::run(&sculpt, choice, meter.task())?.0.plane,
    };
    let edge = match settings.size {
        session::Size::Faces(n) => (area / n.max(1) as f64).sqrt(),
        session::Size::Edge(edge) => edge,
    };
    let options = SuggestOptions { edge, plane };
    let mut proposals =
        suggest::run(&sculpt, &settings.guides, &options, meter.task()).map_err(|source| {
            Refusal::Suggest {
                file: order.file.path().display().to_string(),
                source: source.into(),
            }
        })?;
    proposals.retain(|p| p.confidence >= args.least);
    if let Some(copy) = &args.out {
        let text = copy_text(&order.file, copy, &proposals, edge)?;
        meter.task().checkpoint()?;
        files::write_whole(copy, text.as_bytes())?;
    }
    meter.clear_line();
    show(&proposals, args);
    Ok(true)
}

/// Sees to it that the copy replaces no input; other files are replaced, as by the other verbs.
fn check_copy(copy: &Path, inputs: &[&Path]) -> Result<(), Refusal> {
    let Ok(real) = copy.canonicalize() else {
        return Ok(());
    };
    let same = |input: &&&Path| input.canonicalize().is_ok_and(|input| input == real);
    match inputs.iter().find(same) {
        Some(input) => Err(Refusal::Overwrites {
            path: input.to_path_buf(),
        }),
        None => Ok(()),
    }
}

/// The job's text with the proposals at its end. In another folder than the job's, the sculpt
/// is named in full, so that the copy finds it.
fn copy_text(
    job: &JobFile,
    copy: &Path,
    proposals: &[Proposal],
    edge: f64,
) -> Result<String, Refusal> {
    let mut job = job.clone();
    let mut spec = job.spec().clone();
    let folder = |path: &Path| {
        let parent = path.parent().filter(|p| !p.as_os_str().is_empty());
        parent.unwrap_or(Path::new(".")).canonicalize().ok()
    };
    if folder(copy) != folder(job.path())
        && let Ok(full) = job.sculpt_path().canonicalize()
    {
        spec.sculpt.file = full;
    }
    spec.guides.extend(proposals.iter().map(|p| guide(p, edge)));
    job.update(spec)?;
    Ok(job.text())
}

fn guide(proposal: &Proposal, edge: f64) -> GuideSpec {
    let kind = match proposal.guide.kind {
        GuideKind::Ring => files::GuideKind::Ring,
        GuideKind::Line => files::GuideKind::Line,
        GuideKind::Opening | GuideKind::Hold => files::GuideKind::Opening,
    };
    // As many decimals as tell a thousandth of a quad.
    let scale = 10f64.powi((STEPS_PER_QUAD / edge).log10().ceil().clamp(0.0, 12.0) as i32);
    let rounded = |p: &DVec3| (*p * scale).round() / scale;
    GuideSpec {
        name: proposal.guide.name.clone(),
        kind,
        closed: proposal.guide.closed,
        count: proposal.guide.count,
        loops: 0,
        hard: false,
        points: proposal.guide.points.iter().map(rounded).collect(),
        reason: Some(proposal.reason.clone()),
        confidence: Some(proposal.confidence),
        line: 0,
    }
}

fn show(proposals: &[Proposal], args: &args::Suggest) {
    let kind = |p: &Proposal| match p.guide.kind {
        GuideKind::Ring => "ring",
        GuideKind::Line => "line",
        GuideKind::Opening => "opening",
        GuideKind::Hold => "rim",
    };
    let row = |p: &Proposal| {
        let count = p.guide.count.map_or("free".to_owned(), |n| n.to_string());
        let sure = format!("{:.2}", p.confidence);
        vec![
            p.guide.name.clone(),
            kind(p).to_owned(),
            count,
            sure,
            p.reason.clone(),
        ]
    };
    let table = Table {
        title: "Proposed guides".to_owned(),
        headings: ["guide", "kind", "count", "confidence", "reason"]
            .map(str::to_owned)
            .to_vec(),
        rows: proposals.iter().map(row).collect(),
    };
    let mut text = if proposals.is_empty() {
        "No guides to propose: nothing on the sculpt asks for one that isn't drawn.\n".to_owned()
    } else {
        tables::text(&table)
    };
    if let Some(copy) = &args.out {
        text += &format!("\nWritten: {}\n", copy.display());
    }
    let list = proposals.iter().map(|p| {
        json!({
            "name": p.guide.name, "kind": kind(p), "closed": p.guide.closed,
            "count": p.guide.count, "confidence": p.confidence, "reason": p.reason,
        })
    });
    let json = json!({ "proposals": list.collect::<Vec<_>>(), "copy": args.out });
    terminal::show(&text, &json, &args.common);
}

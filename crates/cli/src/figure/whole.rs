//! The whole figure: what holds between its parts, its files and its report.

use base::{Finding, Findings, Level, Place};
use files::{FigurePart, GlbPart};
use finish::layers::{self, Layer, Standing};
use mesh::{DVec3, Group, QuadMesh};
use report::{FigurePage, PartView, Picture, Table};
use serde_json::Value;

use super::made::{Made, plan_plane};
use super::plan::Plan;
use crate::args;
use crate::output::{self, Done};
use crate::progress::{Lap, Meter};
use crate::refusal::Refusal;

/// How far the figure's quads may be from its budget.
const SLACK: f64 = 0.03;
/// Places of a finding.
const PLACES: usize = 40;
/// What the figure's report shows of each part.
const SHOWN: [&str; 3] = ["surface-front", "trim-", "layers-"];

/// Checks what holds between the parts, writes figure.obj, figure.glb, findings.json and
/// report.html, all or none.
///
/// # Errors
/// [`Refusal`]; none of these files was written then.
pub fn finish(
    plan: &Plan,
    parts: &[Made],
    common: &args::Common,
    meter: &Meter,
) -> Result<Done, Refusal> {
    let spec = plan.spec();
    let mut lap = Lap::new(meter);
    let mut findings = Findings::default();
    for (part, made) in spec.parts.iter().zip(parts) {
        findings.push(of_part(&part.name, made));
    }
    findings.append(between(plan, parts, meter)?);
    findings.append(budget(plan, parts));
    let mut stages = vec![lap.end("check")];
    let mut pictures = Vec::new();
    if common.pictures > 0 {
        let views = spec.parts.iter().zip(parts);
        let views: Vec<PartView> = views
            .map(|(part, made)| PartView {
                name: &part.name,
                surface: &made.surface,
            })
            .collect();
        pictures = report::figure_pictures(&views, common.pictures, meter.task())?;
        stages.push(lap.end("pictures"));
    }
    let of_figure = pictures.len();
    pictures.extend(of_parts(plan, parts));
    let whole = together(plan, parts);
    let hard = hard_together(parts);
    let tables = vec![table(plan, parts)];
    let links = spec
        .parts
        .iter()
        .zip(parts)
        .filter(|(_, made)| has_report(made));
    let links: Vec<(String, String)> = links
        .map(|(part, _)| (part.name.clone(), format!("{}/report.html", part.folder())))
        .collect();
    let quads = whole.quads.len();
    let page = report::figure_html(&FigurePage {
        title: &spec.name,
        what: &format!("{} parts, {quads} quads.", parts.len()),
        findings: &findings,
        links: &links,
        pictures: &pictures,
        tables: &tables,
        set_text: plan.figure.text(),
    });
    let units = parts.first().and_then(|p| p.findings["units"].as_str());
    let mut json = report::findings_json(&findings, &tables);
    json["name"] = Value::from(spec.name.as_str());
    json["units"] = Value::from(units);
    let plane = plan_plane(spec.plane);
    let mut all = output::surface_files(
        "figure",
        &spec.name,
        units.unwrap_or_default(),
        &whole,
        output::Look {
            plane,
            hard: &hard,
            parts: &nodes(plan, parts),
        },
    )?;
    all.push((
        "findings.json".to_owned(),
        serde_json::to_vec_pretty(&json)?,
    ));
    all.push(("report.html".to_owned(), page.into_bytes()));
    if common.picture_files {
        let file = |p: &Picture| (format!("{}.png", p.name), p.png.clone());
        all.extend(pictures.iter().take(of_figure).map(file));
    }
    meter.task().checkpoint()?;
    output::write_all(&plan.out, &all)?;
    Ok(Done {
        name: spec.name.clone(),
        quads,
        poles: parts.iter().filter_map(poles).sum(),
        findings,
        tables,
        json,
        stages,
        files: Vec::new(),
        pictures: Vec::new(),
        folder: Some(plan.out.clone()),
    })
}

/// Poles of a part.
pub fn poles(made: &Made) -> Option<usize> {
    usize::try_from(made.measure("poles", "poles")?).ok()
}

/// Images have no report of their own.
fn has_report(made: &Made) -> bool {
    !made.findings["tables"].as_array().is_none_or(Vec::is_empty)
}

fn of_part(name: &str, made: &Made) -> Finding {
    let quads = made.surface.quads.len();
    if made.is_ready() {
        let sentence = format!("'{name}' is ready: {quads} quads.");
        return Finding::new("part-ready", Level::Pass, sentence);
    }
    let fails: Vec<&str> = made.fails().collect();
    let first = fails.first().copied().unwrap_or_default();
    let sentence = format!(
        "'{name}' isn't ready: {} checks fail, first: {first}",
        fails.len()
    );
    Finding::new("part-ready", Level::Fail, sentence)
}

/// What holds between the parts as they were written: each is clear of those that it lies over,
/// and no two go through each other.
fn between(plan: &Plan, parts: &[Made], meter: &Meter) -> Result<Findings, Refusal> {
    let spec = plan.spec();
    let mut findings = Findings::default();
    for (number, part) in spec.parts.iter().enumerate() {
        for under in 0..number {
            let other = &spec.parts[under].name;
            let over = part.over.contains(&under);
            if !over && !boxes_meet(&parts[number].surface, &parts[under].surface) {
                continue;
            }
            // Where nothing is promised only what goes through counts, at any clearance.
            let clearance = if over { part.clearance } else { f64::EPSILON };
            // That which it was made over, of the same triangles.
            let layer = Layer {
                clearance,
                ..parts[under].layer.clone()
            };
            let standing = layers::look(
                &parts[number].surface,
                std::slice::from_ref(&layer),
                meter.task(),
            );
            let standing = standing.map_err(|source| Refusal::Clear {
                file: plan.figure.path().display().to_string(),
                source: Box::new(source.into()),
            })?;
            for standing in standing {
                findings.push(if over {
                    clear_of(
                        &part.name,
                        other,
                        clearance,
                        &parts[number].surface,
                        &standing,
                    )
                } else {
                    apart(&part.name, other, &parts[number].surface, &standing)
                });
            }
        }
    }
    Ok(findings)
}

fn clear_of(
    part: &str,
    under: &str,
    clearance: f64,
    surface: &QuadMesh,
    standing: &Standing,
) -> Finding {
    let close = standing.close.iter().map(|(quad, ..)| *quad);
    let quads = standing
        .crossings
        .iter()
        .map(|[quad, _]| *quad)
        .chain(close);
    if standing.is_clear() {
        let sentence = format!("'{part}' keeps {clearance} from '{under}' everywhere.");
        return Finding::new("parts-clear", Level::Pass, sentence).measured(0.0, Some(0.0));
    }
    let sentence = format!(
        "'{part}' goes through '{under}' in {} places and is closer than {clearance} in {}. Ask for less clearance there, or change the sculpts.",
        standing.crossings.len(),
        standing.close.len(),
    );
    let count = (standing.crossings.len() + standing.close.len()) as f64;
    let finding = Finding::new("parts-clear", Level::Fail, sentence).measured(count, Some(0.0));
    with_places(finding, surface, quads)
}

fn apart(part: &str, other: &str, surface: &QuadMesh, standing: &Standing) -> Finding {
    let crossings = standing.crossings.len();
    if crossings == 0 {
        let sentence = format!("'{part}' and '{other}' pass through each other nowhere.");
        return Finding::new("parts-apart", Level::Pass, sentence).measured(0.0, Some(0.0));
    }
    let sentence = format!(
        "'{part}' and '{other}' pass through each other in {crossings} places, and neither is said to lie over the other. Name '{other}' in the 'over' of '{part}', or change the sculpts."
    );
    let finding = Finding::new("parts-apart", Level::Warn, sentence);
    let quads = standing.crossings.iter().map(|[quad, _]| *quad);
    with_places(
        finding.measured(crossings as f64, Some(0.0)),
        surface,
        quads,
    )
}

/// Adds the first of some quads as points: numbers of quads would be those of another file.
fn with_places(finding: Finding, surface: &QuadMesh, quads: impl Iterator<Item = u32>) -> Finding {
    let mut quads: Vec<u32> = quads.collect();
    quads.sort_unstable();
    quads.dedup();
    quads.iter().take(PLACES).fold(finding, |finding, &quad| {
        let at = surface.centre(quad as usize).to_array();
        finding.at(Place::Point { at })
    })
}

fn boxes_meet(a: &QuadMesh, b: &QuadMesh) -> bool {
    let bounds = |mesh: &QuadMesh| {
        let low = mesh
            .positions
            .iter()
            .fold(DVec3::INFINITY, |l, p| l.min(*p));
        let high = mesh
            .positions
            .iter()
            .fold(DVec3::NEG_INFINITY, |h, p| h.max(*p));
        (low, high)
    };
    let ((a_low, a_high), (b_low, b_high)) = (bounds(a), bounds(b));
    a_low.cmple(b_high).all() && b_low.cmple(a_high).all()
}

fn budget(plan: &Plan, parts: &[Made]) -> Findings {
    let mut findings = Findings::default();
    let Some(budget) = plan.spec().budget else {
        return findings;
    };
    let plain: u64 = parts
        .iter()
        .filter_map(|p| p.measure("counts", "faces"))
        .sum();
    let off = plain as f64 / f64::from(budget) - 1.0;
    let (level, rest) = if off.abs() <= SLACK {
        (Level::Pass, "")
    } else {
        let rest = " Look at the parts' own budgets, and at counts that ask for more or fewer.";
        (Level::Warn, rest)
    };
    let sentence = format!(
        "{plain} quads without trims, {budget} in the budget: {:+.1} %.{rest}",
        100.0 * off
    );
    let finding = Finding::new("figure-budget", level, sentence);
    findings.push(finding.measured(plain as f64, Some(f64::from(budget))));
    findings
}

/// One row a part.
fn table(plan: &Plan, parts: &[Made]) -> Table {
    let spec = plan.spec();
    let faces = spec.faces();
    let row = |(number, made): (usize, &Made)| {
        let part = &spec.parts[number];
        let over = part
            .over
            .iter()
            .map(|&under| spec.parts[under].name.as_str());
        let plain = made.measure("counts", "faces");
        let shown = |n: Option<u64>| n.map(|n| n.to_string()).unwrap_or_default();
        vec![
            part.name.clone(),
            shown(faces[number].map(u64::from)),
            shown(plain),
            made.surface.quads.len().to_string(),
            shown(made.measure("poles", "poles")),
            over.collect::<Vec<_>>().join(", "),
            if made.is_ready() {
                "ready"
            } else {
                "not ready"
            }
            .to_owned(),
        ]
    };
    Table {
        title: "Parts".to_owned(),
        headings: ["part", "asked", "quads", "with trims", "poles", "over", ""]
            .map(str::to_owned)
            .to_vec(),
        rows: parts.iter().enumerate().map(row).collect(),
    }
}

/// Pictures of the parts that the figure's report shows, under the part's name.
fn of_parts(plan: &Plan, parts: &[Made]) -> Vec<Picture> {
    let mut pictures = Vec::new();
    for (part, made) in plan.spec().parts.iter().zip(parts) {
        let shown = |p: &&Picture| SHOWN.iter().any(|start| p.name.starts_with(start));
        pictures.extend(made.pictures.iter().filter(shown).map(|picture| Picture {
            name: format!("{}-{}", part.folder(), picture.name),
            section: format!("{}: {}", part.name, lower_first(&picture.section)),
            ..picture.clone()
        }));
    }
    pictures
}

fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_lowercase().chain(letters).collect()
    })
}

/// Hard edges of all parts, by the vertices of the figure.
fn hard_together(parts: &[Made]) -> Vec<[u32; 2]> {
    let (mut hard, mut first) = (Vec::new(), 0);
    for made in parts {
        let edges = made.hard_edges().into_iter();
        hard.extend(edges.map(|edge| edge.map(|v| v + first)));
        first += made.surface.positions.len() as u32;
    }
    hard
}

/// Each part with its quads in the whole.
fn nodes(plan: &Plan, parts: &[Made]) -> Vec<GlbPart> {
    let mut first = 0;
    let each = plan.spec().parts.iter().zip(parts);
    let node = |(part, made): (&FigurePart, &Made)| {
        let quads = first..first + made.surface.quads.len();
        first = quads.end;
        GlbPart {
            name: part.name.clone(),
            quads,
        }
    };
    each.map(node).collect()
}

/// All surfaces as one, each group under its part's name; a part's quads in no group are in one
/// that is called as the part.
fn together(plan: &Plan, parts: &[Made]) -> QuadMesh {
    let mut whole = QuadMesh::default();
    for (part, made) in plan.spec().parts.iter().zip(parts) {
        let (vertex, quad) = (whole.positions.len() as u32, whole.quads.len() as u32);
        let surface = &made.surface;
        whole.positions.extend(&surface.positions);
        whole
            .quads
            .extend(surface.quads.iter().map(|q| q.map(|v| v + vertex)));
        let mut grouped = vec![false; surface.quads.len()];
        for group in &surface.groups {
            group.quads.iter().for_each(|&q| grouped[q as usize] = true);
            whole.groups.push(Group {
                name: format!("{} {}", part.name, group.name),
                quads: group.quads.iter().map(|q| q + quad).collect(),
            });
        }
        let rest = (0u32..).zip(&grouped).filter(|(_, grouped)| !**grouped);
        let rest: Vec<u32> = rest.map(|(q, _)| q + quad).collect();
        if !rest.is_empty() {
            whole.groups.push(Group {
                name: part.name.clone(),
                quads: rest,
            });
        }
    }
    whole
}

//! `loopwright run`: job file in, surface and report out.

use std::error::Error;
use std::path::Path;
use std::time::Instant;

use base::{Finding, Findings, Level};
use engine::assemble::Sides;
use engine::check::{self, CheckInput};
use engine::intake::{self, IntakeOptions, Part, RawPart, RawTriangles};
use engine::model::{Guide, GuideKind, Plane};
use engine::symmetry::PlaneChoice;
use files::{JobFile, JobSpec};
use mesh::DVec3;
use report::StageView;
use session::{Session, Settings, Size};

use crate::args::{self, PlaneWord, SidesWord};
use crate::output::{self, Finished};
use crate::progress;

/// Runs a job; answers whether the surface is ready.
pub fn run(args: &args::Run) -> Result<bool, Box<dyn Error>> {
    let mut job = JobFile::read(&args.job)?;
    let spec = overridden(job.spec().clone(), args);
    job.update(spec)?;
    run_job(&job, &args.out, &args.common)
}

/// Applies the command line's overrides.
fn overridden(mut spec: JobSpec, args: &args::Run) -> JobSpec {
    if let Some(faces) = args.faces {
        spec.density.size = files::Size::Faces(faces);
    }
    if let Some(edge) = args.edge {
        spec.density.size = files::Size::Edge(edge);
    }
    if let Some(adapt) = args.adapt {
        spec.density.adapt = adapt;
    }
    if let Some(plane) = args.plane {
        spec.symmetry.plane = match plane {
            PlaneWord::X => files::PlaneSpec::X,
            PlaneWord::Y => files::PlaneSpec::Y,
            PlaneWord::Z => files::PlaneSpec::Z,
            PlaneWord::Find => files::PlaneSpec::Find,
            PlaneWord::None => files::PlaneSpec::None,
        };
    }
    if let Some(sides) = args.sides {
        spec.symmetry.sides = match sides {
            SidesWord::Mirror => files::Sides::Mirror,
            SidesWord::Fit => files::Sides::Fit,
        };
    }
    spec
}

/// Runs a parsed job and writes its results.
pub fn run_job(job: &JobFile, out: &Path, common: &args::Common) -> Result<bool, Box<dyn Error>> {
    let task = progress::task(common.quiet);
    let spec = job.spec();
    let mut stages = Vec::new();
    let mut lap = Lap::new();

    let raw = files::read_sculpt(&job.sculpt_path())?;
    let mut findings = reading_findings(&raw);
    lap.end("read", &mut stages);
    let raw = RawTriangles {
        parts: raw
            .parts
            .iter()
            .map(|p| RawPart { name: p.name.clone(), triangles: p.triangles.clone() })
            .collect(),
        positions: raw.positions,
        triangles: raw.triangles,
    };
    let settings = settings_of(spec);
    let options = IntakeOptions {
        part: spec.sculpt.part.as_ref().map(|p| match p {
            files::PartSpec::Largest => Part::Largest,
            files::PartSpec::Named(name) => Part::Named(name.clone()),
        }),
        keep_open: settings.guides.iter().filter(|g| g.kind == GuideKind::Opening).flat_map(|g| g.points.iter().copied()).collect(),
        ..IntakeOptions::default()
    };
    let (sculpt, taken) = intake::run(&raw, &options, &task)
        .map_err(|problem| format!("{}: {problem}", job.sculpt_path().display()))?;
    drop(raw);
    findings.append(taken.findings);
    lap.end("intake", &mut stages);

    let mut session = Session::new(sculpt);
    let outcome = session
        .run(&settings, &task)
        .map_err(|problem| format!("{}: {}{problem}", job.path().display(), guide_line(spec, &problem.to_string())))?;
    for stage in &outcome.stages {
        stages.push(StageView { name: stage.name.to_owned(), seconds: stage.seconds, peak_mb: progress::peak_mb() });
    }
    lap.restart();
    findings.append(outcome.findings.clone());
    let wanted = match settings.size {
        Size::Faces(n) => Some(n as u32),
        Size::Edge(_) => None,
    };
    let (measures, checks) = check::run(
        &CheckInput {
            surface: &outcome.surface,
            sculpt: session.sculpt(),
            guides: &settings.guides,
            plane: outcome.plane,
            target_faces: wanted,
            yardstick: common.verbose,
        },
        &task,
    )?;
    findings.append(checks);
    for pole in &outcome.poles {
        let at = outcome.surface.positions[pole.vertex as usize].to_array();
        findings.push(
            Finding::new("pole", Level::Note, pole.reason.clone())
                .measured(f64::from(pole.valence), None)
                .at(base::Place::Vertex { id: pole.vertex, at }),
        );
    }
    lap.end("check", &mut stages);
    let ready = findings.is_ready();
    output::write(
        &Finished {
            job,
            sculpt: session.sculpt(),
            outcome: &outcome,
            guides: &settings.guides,
            findings: &findings,
            measures: &measures,
            stages: &stages,
        },
        out,
        common,
        &task,
    )?;
    progress::done(common.quiet);
    output::print(&findings, &outcome, &stages, out, common);
    Ok(ready)
}

/// What the session is to do.
fn settings_of(spec: &JobSpec) -> Settings {
    let plane = match spec.symmetry.plane {
        files::PlaneSpec::X => PlaneChoice::Given(Plane { origin: DVec3::ZERO, normal: DVec3::X }),
        files::PlaneSpec::Y => PlaneChoice::Given(Plane { origin: DVec3::ZERO, normal: DVec3::Y }),
        files::PlaneSpec::Z => PlaneChoice::Given(Plane { origin: DVec3::ZERO, normal: DVec3::Z }),
        files::PlaneSpec::Find => PlaneChoice::Find,
        files::PlaneSpec::None => PlaneChoice::None,
        files::PlaneSpec::Given { origin, normal } => {
            PlaneChoice::Given(Plane { origin, normal: normal.normalize_or_zero() })
        }
    };
    Settings {
        guides: spec
            .guides
            .iter()
            .map(|g| Guide {
                name: g.name.clone(),
                kind: match g.kind {
                    files::GuideKind::Ring => GuideKind::Ring,
                    files::GuideKind::Line => GuideKind::Line,
                    files::GuideKind::Opening => GuideKind::Opening,
                },
                closed: g.closed,
                count: g.count,
                points: g.points.clone(),
            })
            .collect(),
        plane,
        sides: match spec.symmetry.sides {
            files::Sides::Mirror => Sides::Mirror,
            files::Sides::Fit => Sides::Fit,
        },
        size: match spec.density.size {
            files::Size::Faces(n) => Size::Faces(n as usize),
            files::Size::Edge(edge) => Size::Edge(edge),
        },
    }
}

/// "line 12: " of the first guide that a message names, so that an editor can go there.
fn guide_line(spec: &JobSpec, message: &str) -> String {
    spec.guides
        .iter()
        .filter(|g| [format!("'{}'", g.name), format!("\"{}\"", g.name)].iter().any(|n| message.contains(n.as_str())))
        .map(|g| format!("line {}: ", g.line))
        .next()
        .unwrap_or_default()
}

fn reading_findings(raw: &files::RawSculpt) -> Findings {
    let mut findings = Findings::default();
    let notes = &raw.notes;
    if notes.polygons_split > 0 {
        findings.push(Finding::new(
            "polygons-split",
            Level::Note,
            format!("{} polygons of more than three corners were split into triangles.", notes.polygons_split),
        ));
    }
    if notes.faces_skipped > 0 {
        findings.push(Finding::new(
            "faces-skipped",
            Level::Warn,
            format!("{} faces with fewer than three corners were left out.", notes.faces_skipped),
        ));
    }
    findings
}

/// Times of stages outside the session.
struct Lap {
    from: Instant,
}

impl Lap {
    fn new() -> Self {
        Self { from: Instant::now() }
    }

    fn restart(&mut self) {
        self.from = Instant::now();
    }

    fn end(&mut self, name: &str, stages: &mut Vec<StageView>) {
        stages.push(StageView {
            name: name.to_owned(),
            seconds: self.from.elapsed().as_secs_f64(),
            peak_mb: progress::peak_mb(),
        });
        self.restart();
    }
}

//! One run: intake, session, check, then our own look at the surface.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use base::{Level, Task};
use engine::assemble::Sides;
use engine::check::{self, CheckInput};
use engine::intake::{self, IntakeOptions, RawTriangles};
use engine::model::{Guide, GuideKind, Sculpt};
use mesh::DVec3;
use session::{Outcome, Session, SessionError, Settings, Size, Way};

use crate::cases::{Case, Given, RunSpec};
use crate::double::doubled;
use crate::record::{Ending, Record};
use crate::verify::{Counts, Wanted, faults};

/// Where the last panic happened, told by the hook.
static LAST_PANIC: Mutex<String> = Mutex::new(String::new());

/// Keeps panics' words for the records, in place of printing them.
pub fn note_panics() {
    std::panic::set_hook(Box::new(|info| {
        let text = info.to_string().replace('\n', " ");
        *LAST_PANIC.lock().unwrap_or_else(PoisonError::into_inner) = text;
    }));
}

/// Runs a case; `at_stage` is told of each stage that begins.
pub fn run(case: &Case, spec: RunSpec, at_stage: impl Fn(&str) + Send + Sync + 'static) -> Record {
    let mut record = Record {
        case: case.name.clone(),
        class: case.class.clone(),
        defects: case.defects.clone(),
        guides: spec.given.name().to_owned(),
        faces_asked: spec.faces,
        triangles: case.triangles.len(),
        ending: Ending::Panic,
        stage: String::new(),
        text: String::new(),
        failing: vec![],
        faces: 0,
        poles: 0,
        pole_need: 0,
        spirals: 0,
        jacobian: 0.0,
        cpu: 0.0,
        seconds: 0.0,
        reports: 0,
        stages: vec![],
    };
    let reports = Arc::new(AtomicUsize::new(0));
    let stage = Arc::new(Mutex::new(String::new()));
    let task = {
        let (reports, stage) = (Arc::clone(&reports), Arc::clone(&stage));
        Task::with_progress(move |name, _| {
            reports.fetch_add(1, Ordering::Relaxed);
            let mut last = stage.lock().unwrap_or_else(PoisonError::into_inner);
            if *last != name {
                name.clone_into(&mut last);
                at_stage(name);
            }
        })
    };
    let (clock, cpu) = (Instant::now(), cpu_seconds());
    let ended = catch_unwind(AssertUnwindSafe(|| attempt(case, spec, &task, &mut record)));
    record.seconds = clock.elapsed().as_secs_f64();
    record.cpu = match (cpu, cpu_seconds()) {
        (Some(before), Some(after)) => after - before,
        _ => record.seconds,
    };
    record.reports = reports.load(Ordering::Relaxed);
    let last_stage = stage.lock().unwrap_or_else(PoisonError::into_inner).clone();
    match ended {
        Ok(Ok(())) => {}
        Ok(Err((stage, text))) => {
            record.ending = Ending::Refused;
            (record.stage, record.text) = (stage.to_owned(), text);
        }
        Err(_) => {
            record.ending = Ending::Panic;
            record.stage = last_stage;
            record.text = LAST_PANIC
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .clone();
        }
    }
    record
}

/// A run's surface with everything that it was made from.
pub struct Made {
    /// Holds the sculpt.
    pub session: Session,
    /// What was asked for.
    pub settings: Settings,
    /// What came out.
    pub outcome: Outcome,
    /// What the surface must have.
    pub wanted: Wanted,
}

/// Makes a case's surface in the given way.
///
/// # Errors
/// Which stage refuses, and its words.
pub fn surface(
    case: &Case,
    spec: RunSpec,
    way: Way,
    task: &Task,
) -> Result<Made, (&'static str, String)> {
    let guides = spec.given.of(&case.guides);
    let openings = guides.iter().filter(|g| g.kind == GuideKind::Opening);
    let options = IntakeOptions {
        keep_open: openings.flat_map(|g| g.points.iter().copied()).collect(),
        ..IntakeOptions::default()
    };
    let raw = RawTriangles {
        positions: case.positions.clone(),
        triangles: case.triangles.clone(),
        parts: vec![],
    };
    let (sculpt, _) = intake::run(&raw, &options, task).map_err(|e| ("intake", e.to_string()))?;
    let settings = Settings {
        guides,
        plane: case.plane,
        sides: Sides::Mirror,
        size: Size::Faces(spec.faces),
        adapt: files::DEFAULT_ADAPT,
        intent: Default::default(),
        edits: vec![],
        holds: Vec::new(),
    };
    let mut session = Session::new(sculpt);
    session.set_way(way);
    let outcome = session
        .run(&settings, task)
        .map_err(|e| (stage_of(&e), e.to_string()))?;
    let of_sculpt = match outcome.plane {
        // One side is the other's image, whatever the sculpt has there.
        Some(plane) => Counts::of(&doubled(&session.sculpt().mesh, plane)),
        None => Counts::of(&session.sculpt().mesh.triangles),
    };
    let wanted = wanted(case, spec, &settings.guides, session.sculpt(), &of_sculpt);
    Ok(Made {
        session,
        settings,
        outcome,
        wanted,
    })
}

/// Fills the record, or says which stage refuses and why.
fn attempt(
    case: &Case,
    spec: RunSpec,
    task: &Task,
    record: &mut Record,
) -> Result<(), (&'static str, String)> {
    let Made {
        session,
        settings,
        outcome,
        wanted,
    } = surface(case, spec, Way::default(), task)?;
    let surface = &outcome.surface;
    let found = faults(&surface.positions, &surface.quads, wanted);
    let counts = Counts::of(&surface.quads);
    (record.faces, record.poles, record.pole_need) =
        (counts.faces, counts.poles, counts.pole_need());
    for stage in &outcome.stages {
        record.stages.push((stage.name.to_owned(), stage.seconds));
    }
    if !found.is_empty() {
        record.ending = Ending::Unsound;
        record.stage = "surface".to_owned();
        record.text = found.join("; ");
    }
    let input = CheckInput {
        surface,
        sculpt: session.sculpt(),
        guides: &settings.guides,
        plane: outcome.plane,
        intent: &settings.intent,
        target_faces: u32::try_from(spec.faces).ok(),
        yardstick: false,
        holds: &[],
    };
    let clock = Instant::now();
    let (measures, findings) = check::run(&input, task).map_err(|e| ("check", e.to_string()))?;
    let seconds = clock.elapsed().as_secs_f64();
    record.stages.push(("check".to_owned(), seconds));
    record.spirals = measures.strips.spirals;
    record.jacobian = measures.shape.scaled_jacobian_min;
    let all = outcome.findings.iter().chain(findings.iter());
    record.failing = all
        .filter(|f| f.level == Level::Fail)
        .map(|f| f.code.clone())
        .collect();
    record.failing.sort_unstable();
    record.failing.dedup();
    if found.is_empty() {
        let ready = record.failing.is_empty();
        record.ending = if ready { Ending::Ready } else { Ending::Sound };
    }
    Ok(())
}

fn stage_of(error: &SessionError) -> &'static str {
    match error {
        SessionError::Symmetry(_) => "symmetry",
        SessionError::Guides(_) => "guides",
        SessionError::Work(_) => "work",
        SessionError::Intent(_) => "intent",
        SessionError::Field(_) => "field",
        SessionError::Layout(_) => "layout",
        SessionError::Quantise(_) => "quantise",
        SessionError::Fill(_) => "fill",
        SessionError::Conform(_) => "conform",
        SessionError::Edit(_) => "edit",
        SessionError::Hold(_) => "hold",
        SessionError::BesideHolds { source, .. } => stage_of(source),
        SessionError::NoArea | SessionError::Cancelled(_) => "session",
    }
}

/// Share of the sculpt's diagonal within which an opening's points lie on a boundary.
const ON_RIM: f64 = 0.02;

/// What the surface must have: the sculpt's topology, and a loop more for each opening that is
/// drawn where the sculpt has none.
fn wanted(
    case: &Case,
    spec: RunSpec,
    guides: &[Guide],
    sculpt: &Sculpt,
    of_sculpt: &Counts,
) -> Wanted {
    let cuts = match (case.cuts, spec.given) {
        (_, Given::None) => 0,
        (Some(cuts), Given::Full) => cuts,
        _ => {
            let rim = rim_points(sculpt);
            let limit = ON_RIM * sculpt.mesh.diagonal();
            let inside = |g: &&Guide| {
                let near = |p: &DVec3| rim.iter().any(|q| p.distance(*q) < limit);
                g.kind == GuideKind::Opening && !g.points.iter().all(near)
            };
            guides.iter().filter(inside).count()
        }
    };
    // A cut takes a disk off only where the recipe says so.
    let euler = (cuts == 0 || case.cuts.is_some()).then(|| of_sculpt.euler - cuts as i64);
    Wanted {
        pieces: of_sculpt.pieces,
        loops: of_sculpt.loops + cuts,
        euler,
    }
}

/// Vertices on the sculpt's boundary.
fn rim_points(sculpt: &Sculpt) -> Vec<DVec3> {
    let loops = demo::solid::rims(&sculpt.mesh);
    loops.into_iter().flat_map(|rim| rim.points).collect()
}

/// Processor time of this process so far, s; 10 ms steps. Only where /proc is.
fn cpu_seconds() -> Option<f64> {
    /// Ticks a second of /proc's times: fixed on Linux (`man 5 proc`).
    const TICKS: f64 = 100.0;
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    // The name in brackets may hold spaces; fields count from behind it (utime is the 14th).
    let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks = |i: usize| fields.get(i)?.parse::<f64>().ok();
    Some((ticks(11)? + ticks(12)?) / TICKS)
}

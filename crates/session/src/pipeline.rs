//! The stages in order, each result kept behind an `Arc` with what it was made from.

use std::sync::Arc;
use std::time::Instant;

use base::{Findings, Task};
use engine::assemble::{self, Assembled, Pole, Sides};
use engine::conform;
use engine::edit::{self, Edit};
use engine::field;
use engine::fill::{self, Filled};
use engine::guides::{self, GuideCurves, GuideOptions, Rims};
use engine::hold::{Held, HoldError};
use engine::intent::{self, Aims};
use engine::layout::{self, Layout};
use engine::model::{Curve, Guide, GuideKind, Hold, Intent, Plane, Sculpt, WorkSurface};
use engine::quantise::{self, Plan, Weighing};
use engine::symmetry::{self, Half, PlaneChoice};
use engine::work::{self, LightHalf, WorkOptions};
use mesh::{DVec3, QuadMesh};
use thiserror::Error;

use crate::cloth;
use crate::placed::Placed;
use crate::variants::Variant;

/// Wanted size of the quads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Size {
    /// Faces of the whole surface.
    Faces(usize),
    /// Edge length, model units.
    Edge(f64),
}

/// What a run is to do.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Guides of the job.
    pub guides: Vec<Guide>,
    /// The mirror plane.
    pub plane: PlaneChoice,
    /// What the mirrored side becomes.
    pub sides: Sides,
    /// Wanted size.
    pub size: Size,
    /// How far the size follows curvature, 0 (even) to 1.
    pub adapt: f64,
    /// Edits of the job, played in order on the finished surface.
    pub edits: Vec<Edit>,
    /// What is asked for beside guides and their counts.
    pub intent: Intent,
    /// Quads of an earlier run that stay bit for bit as they are.
    pub holds: Vec<Hold>,
}

/// How long a stage took.
#[derive(Clone, Debug, PartialEq)]
pub struct StageTime {
    /// Name of the stage.
    pub name: &'static str,
    /// Seconds; 0 for a result that was kept from an earlier run. Where the stage ran several times
    /// beside itself, their sum.
    pub seconds: f64,
}

/// A finished run.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The surface.
    pub surface: QuadMesh,
    /// Patch of each quad.
    pub patch_of_quad: Vec<u32>,
    /// Poles with reasons.
    pub poles: Vec<Pole>,
    /// Findings of all stages but the check.
    pub findings: Findings,
    /// Times of the stages.
    pub stages: Vec<StageTime>,
    /// The plane in use.
    pub plane: Option<Plane>,
    /// Edge length that the stages worked with, model units.
    pub edge: f64,
    /// The job's guides with the counts that they promise once the edits are played.
    pub guides: Vec<Guide>,
    /// Quads that edits added to the whole surface, less those that they took.
    pub added_quads: i64,
}

/// Why a run gave no surface: the stage's own words.
#[derive(Debug, Error)]
pub enum SessionError {
    /// Symmetry.
    #[error(transparent)]
    Symmetry(#[from] symmetry::SymmetryError),
    /// Guides.
    #[error(transparent)]
    Guides(#[from] guides::GuideError),
    /// Held quads.
    #[error(transparent)]
    Hold(#[from] HoldError),
    /// Work surface.
    #[error(transparent)]
    Work(#[from] work::WorkError),
    /// Areas, pins and keep-outs.
    #[error(transparent)]
    Intent(#[from] intent::IntentError),
    /// Field.
    #[error(transparent)]
    Field(#[from] field::FieldError),
    /// Layout.
    #[error(transparent)]
    Layout(#[from] layout::LayoutError),
    /// Whole numbers.
    #[error(transparent)]
    Quantise(#[from] quantise::QuantiseError),
    /// Fill.
    #[error(transparent)]
    Fill(#[from] fill::FillError),
    /// Conform.
    #[error(transparent)]
    Conform(#[from] conform::ConformError),
    /// Edits.
    #[error(transparent)]
    Edit(#[from] edit::EditError),
    /// The rest can't be laid beside held quads.
    #[error(
        "beside {holds}, {source}; or release what is held, or hold a part with a straighter rim"
    )]
    BesideHolds {
        /// The holds.
        holds: String,
        /// What a stage says.
        source: Box<SessionError>,
    },
    /// Stopped from outside.
    #[error(transparent)]
    Cancelled(#[from] base::Cancelled),
    /// The sculpt has no area.
    #[error("the sculpt has no area, so no quads can lie on it")]
    NoArea,
}

impl SessionError {
    /// Whether the work was cancelled from outside.
    pub fn is_cancelled(&self) -> bool {
        self.to_string() == base::Cancelled.to_string()
    }
}

/// Quads within which singular places that serve nothing are taken out. Those at a finger's tip and at its
/// root lie as far apart as it is long: what is longer than this keeps them, and quads reach its tip.
const CANCEL: f64 = 4.0;

/// How stages go about it where there is a choice; docs/quality.md has what each does to the figures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Way {
    /// How strongly the field is drawn along the surface's bends: 0 not at all, at 1 a tube turns it
    /// within about its radius.
    pub curvature: f64,
    /// Quads within which singular places of the field that serve nothing are taken out.
    pub cancel_quads: f64,
    /// Whether closed curves are laid around limbs before anything else.
    pub rings_first: bool,
    /// Whether faces straddle the sculpt, so that the volume stays, or every vertex lies on it.
    pub straddle: bool,
    /// By what plans are weighed.
    pub weighing: Weighing,
}

impl Default for Way {
    fn default() -> Self {
        Self {
            curvature: 0.3,
            cancel_quads: CANCEL,
            rings_first: true,
            straddle: true,
            weighing: Weighing::Strips,
        }
    }
}

/// An open sculpt and what earlier runs left.
pub struct Session {
    pub(crate) sculpt: Sculpt,
    pub(crate) way: Way,
    /// What the last surface was assembled from.
    pub(crate) last: Option<Base>,
    rims: Option<Rims>,
    /// Edges of cloth, and the edge length that they were found for, model units.
    pub(crate) cloth: Option<(f64, Vec<Vec<DVec3>>)>,
    half: Option<(PlaneChoice, Arc<(Half, Findings)>)>,
    light: Option<(PlaneChoice, Size, Arc<Light>)>,
}

/// What stages from guides on start from, whatever the guides.
struct Light {
    half: LightHalf,
    /// Edge length that the area of the whole sculpt tells, model units.
    edge: f64,
}

/// Everything that a surface was assembled from, edits not yet played.
pub(crate) struct Base {
    pub settings: Settings,
    pub half: Arc<(Half, Findings)>,
    pub curves: Vec<Curve>,
    /// Edge length that the guides' curves were made for, model units.
    pub guide_edge: f64,
    surface: WorkSurface,
    patches: Layout,
    plan: Plan,
    filled: Filled,
    /// The half, placed.
    pub placed: QuadMesh,
    pub whole: Assembled,
    edge: f64,
    findings: Findings,
    /// Guides of the job, rings along edges of cloth, and one for each hold that stands for its rim.
    pub guides: Vec<Guide>,
    pub held: Option<Held>,
    /// Whether each side of a held rim had its own count.
    pub rim_corners: bool,
}

impl Base {
    /// The rings along edges of cloth that the surface was made with.
    pub fn cloth(&self) -> &[Guide] {
        let beyond = self
            .guides
            .get(self.settings.guides.len()..)
            .unwrap_or_default();
        let holds = beyond.iter().take_while(|g| g.kind != GuideKind::Hold);
        &beyond[..holds.count()]
    }

    pub fn parts<'a>(&'a self, sculpt: &'a Sculpt) -> assemble::Parts<'a> {
        assemble::Parts {
            half: &self.placed,
            filled: &self.filled,
            surface: &self.surface,
            layout: &self.patches,
            plan: &self.plan,
            curves: &self.curves,
            guides: &self.guides,
            sculpt,
            plane: self.half.0.plane,
            sides: self.settings.sides,
            edge: self.edge,
        }
    }

    /// The surface with the edits played.
    pub fn outcome(
        &self,
        sculpt: &Sculpt,
        settings: &Settings,
        clock: &mut Clock,
        task: &Task,
    ) -> Result<Outcome, SessionError> {
        let mut findings = self.findings.clone();
        let mut whole = self.whole.clone();
        let (mut promised, mut added_quads) = (settings.guides.clone(), 0);
        if !settings.edits.is_empty() {
            let edited = edit::run(&self.parts(sculpt), &whole, &settings.edits, task)?;
            findings.append(edited.findings);
            (whole, promised, added_quads) = (edited.whole, edited.guides, edited.added_quads);
            // What stands for holds isn't the job's.
            promised.truncate(settings.guides.len());
            clock.lap("edit");
        }
        Ok(Outcome {
            surface: whole.mesh,
            patch_of_quad: whole.patch_of_quad,
            poles: whole.poles,
            findings,
            stages: std::mem::take(&mut clock.laps),
            plane: self.half.0.plane,
            edge: self.edge,
            guides: promised,
            added_quads,
        })
    }
}

pub(crate) struct Prepared {
    pub(crate) curves: GuideCurves,
    pub(crate) rim_corners: bool,
    pub(crate) guides: Vec<Guide>,
    pub(crate) held: Option<Held>,
    pub(crate) surface: WorkSurface,
    /// A light copy of the sculpt's computed side, where that is much denser than quads.
    pub(crate) light: Option<Arc<Sculpt>>,
    pub(crate) aims: Aims,
    pub(crate) edge: f64,
    pub(crate) guide_edge: f64,
    pub(crate) findings: Findings,
}

/// Pins this near to held quads lie on them, in held edges.
const PIN_NEAR: f64 = 0.5;

/// Work surfaces whose area tells another edge length than this share are made again.
const EDGE_DRIFT: f64 = 0.1;

impl Session {
    /// Opens a sculpt.
    pub fn new(sculpt: Sculpt) -> Self {
        Self {
            sculpt,
            way: Way::default(),
            last: None,
            rims: None,
            cloth: None,
            half: None,
            light: None,
        }
    }

    /// Changes how stages go about it.
    pub fn set_way(&mut self, way: Way) {
        if way != self.way {
            self.way = way;
            self.last = None;
        }
    }

    /// The sculpt.
    pub fn sculpt(&self) -> &Sculpt {
        &self.sculpt
    }

    /// Runs every stage from symmetry to the assembled surface.
    ///
    /// # Errors
    /// [`SessionError`]: the first stage that can't go on.
    pub fn run(&mut self, settings: &Settings, task: &Task) -> Result<Outcome, SessionError> {
        let mut clock = Clock::default();
        let kept = self.half(settings, task)?;
        let (half, half_findings) = &*kept;
        clock.lap("symmetry");
        let mut findings = half_findings.clone();
        let light = self.light(half, settings, task)?;
        clock.lap("work");
        let mut cloth = self.cloth_rings(settings, half.plane, light.edge, task)?;
        clock.lap("guides");
        let mut laid = self.laid(half, &light, settings, &cloth, task, &mut clock);
        if let Err(problem) = &laid
            && !cloth.is_empty()
            && !problem.is_cancelled()
        {
            // Rings that nobody drew are no reason for a refusal.
            cloth.clear();
            laid = self.laid(half, &light, settings, &cloth, task, &mut clock);
        }
        let (prepared, best) = laid?;
        if let Some(finding) = cloth::told(&cloth) {
            findings.push(finding);
        }
        findings.append(prepared.findings.clone());
        let edge = prepared.edge;
        let Variant { laid, planned, .. } = best.variant;
        let laid = Arc::unwrap_or_clone(laid);
        findings.append(laid.findings);
        findings.append(planned.findings);
        findings.append(best.findings);
        let (patches, plan) = (laid.patches, planned.plan);
        let (placed, filled, whole, held) = (best.placed, best.filled, best.whole, prepared.held);
        let base = Base {
            settings: settings.clone(),
            half: Arc::clone(&kept),
            guide_edge: prepared.guide_edge,
            curves: prepared.curves.curves,
            surface: prepared.surface,
            patches,
            plan,
            filled,
            placed,
            whole,
            edge,
            findings,
            guides: prepared.guides,
            held,
            rim_corners: prepared.rim_corners,
        };
        let outcome = base.outcome(&self.sculpt, settings, &mut clock, task)?;
        self.last = Some(base);
        Ok(outcome)
    }

    /// The stages from guides to the placed surface, with these rings along edges of cloth.
    fn laid(
        &mut self,
        half: &Half,
        light: &Light,
        settings: &Settings,
        cloth: &[Guide],
        task: &Task,
        clock: &mut Clock,
    ) -> Result<(Prepared, Placed), SessionError> {
        let mut prepared = self.prepare(half, light, settings, (true, cloth), task, clock)?;
        let first = self.best_placed(&prepared, half, settings, task, clock);
        let best = match first {
            // A rim of which each side keeps its count may leave no whole numbers.
            Err(problem @ (SessionError::Quantise(_) | SessionError::Layout(_)))
                if prepared.held.is_some() && !problem.is_cancelled() =>
            {
                prepared = self.prepare(half, light, settings, (false, cloth), task, clock)?;
                match self.best_placed(&prepared, half, settings, task, clock) {
                    Err(again) if !again.is_cancelled() => {
                        return Err(beside_holds(problem, &settings.holds));
                    }
                    other => other?,
                }
            }
            other => other?,
        };
        Ok((prepared, best))
    }

    fn half(
        &mut self,
        settings: &Settings,
        task: &Task,
    ) -> Result<Arc<(Half, Findings)>, SessionError> {
        match &self.half {
            Some((choice, kept)) if *choice == settings.plane => Ok(Arc::clone(kept)),
            _ => {
                let made = Arc::new(symmetry::run(&self.sculpt, settings.plane, task)?);
                self.half = Some((settings.plane, Arc::clone(&made)));
                Ok(made)
            }
        }
    }

    /// The half made light; kept for as long as plane and wanted size stay.
    fn light(
        &mut self,
        half: &Half,
        settings: &Settings,
        task: &Task,
    ) -> Result<Arc<Light>, SessionError> {
        match &self.light {
            Some((plane, size, kept)) if *plane == settings.plane && *size == settings.size => {
                return Ok(Arc::clone(kept));
            }
            _ => self.light = None,
        }
        let edge = match settings.size {
            Size::Edge(edge) => edge,
            Size::Faces(n) => (half.mesh.area() * halves(half) / n.max(1) as f64).sqrt(),
        };
        if !(edge.is_finite() && edge > 0.0) {
            return Err(SessionError::NoArea);
        }
        let fine = edge * WorkOptions::for_edge(edge).ratio;
        let made = LightHalf::new(half, &self.sculpt, fine, task)?.indexed(half);
        let made = Arc::new(Light { half: made, edge });
        self.light = Some((settings.plane, settings.size, Arc::clone(&made)));
        Ok(made)
    }

    /// Guides and work surface. Openings may cut so much away that the budget means another
    /// edge length: what they leave is measured first.
    fn prepare(
        &mut self,
        half: &Half,
        light: &Light,
        settings: &Settings,
        (rim_corners, cloth): (bool, &[Guide]),
        task: &Task,
        clock: &mut Clock,
    ) -> Result<Prepared, SessionError> {
        let sculpt = &self.sculpt;
        let held = Held::new(&settings.holds, half.plane)?;
        let mut guides = settings.guides.clone();
        guides.extend_from_slice(cloth);
        guides.extend(held.iter().flat_map(guides::stand_ins));
        let kept = held
            .as_ref()
            .map_or(0.0, |h| halves(half) * h.mesh.quads.len() as f64);
        if let Size::Faces(n) = settings.size
            && n as f64 <= kept
        {
            let holds = settings.holds.iter().map(|h| h.name.clone()).collect();
            let kept = kept as usize;
            return Err(HoldError::Budget {
                holds,
                kept,
                wanted: n,
            }
            .into());
        }
        let rims = self.rims.get_or_insert_with(|| Rims::of(sculpt));
        let traced = |edge: f64, clock: &mut Clock| {
            let options = GuideOptions { edge, rim_corners };
            let (held, plane) = (held.as_ref(), half.plane);
            let traced = guides::run_beside(rims, held, &guides, sculpt, plane, &options, task);
            clock.lap("guides");
            traced
        };
        let fits = |area: f64, n: usize| (area * halves(half) / (n as f64 - kept).max(1.0)).sqrt();
        let mut edge = light.edge;
        let (mut curves, mut findings) = traced(edge, clock)?;
        let options = WorkOptions::for_edge(edge);
        let mut laid = work::lay(&light.half, sculpt, &curves, &options, task)?;
        clock.lap("work");
        if let Size::Faces(n) = settings.size {
            let wanted = fits(laid.area(), n);
            if (wanted / edge - 1.0).abs() >= EDGE_DRIFT {
                edge = wanted;
                (curves, findings) = traced(edge, clock)?;
                let options = WorkOptions::for_edge(edge);
                laid = work::lay(&light.half, sculpt, &curves, &options, task)?;
            }
        }
        let (surface, more) = laid.finish(&curves, task)?;
        clock.lap("work");
        findings.append(more);
        let guide_edge = edge;
        if let Size::Faces(n) = settings.size {
            edge = fits(area(&surface), n);
        }
        let aims = intent::run(
            &left_to_lay(&settings.intent, held.as_ref(), half.plane),
            &surface,
            &curves.curves,
            &self.sculpt,
            half.plane,
            edge,
            task,
        )?;
        clock.lap("intent");
        Ok(Prepared {
            curves,
            rim_corners,
            guides,
            held,
            surface,
            light: light.half.surface(),
            aims,
            edge,
            guide_edge,
            findings,
        })
    }
}

/// A refusal that says what is held: releasing that may be the way out.
fn beside_holds(problem: SessionError, holds: &[Hold]) -> SessionError {
    let said = problem.to_string();
    let names: Vec<String> = holds.iter().map(|h| format!("hold '{}'", h.name)).collect();
    if holds.iter().any(|h| said.contains(&h.name)) {
        return problem;
    }
    SessionError::BesideHolds {
        holds: names.join(", "),
        source: problem.into(),
    }
}

/// What is asked for where nothing is held: a pin on held quads can't have a pole laid for it.
fn left_to_lay(intent: &Intent, held: Option<&Held>, plane: Option<Plane>) -> Intent {
    let mut intent = intent.clone();
    if let Some(held) = held {
        intent.pins.retain(|pin| {
            let front = plane.filter(|p| p.height(pin.at) < 0.0);
            let at = front.map_or(pin.at, |p| p.mirror(pin.at));
            held.distance(at) > PIN_NEAR * held.edge
        });
    }
    intent
}

/// How many of the half make the whole.
fn halves(half: &Half) -> f64 {
    if half.plane.is_some() { 2.0 } else { 1.0 }
}

fn area(surface: &WorkSurface) -> f64 {
    surface
        .triangles
        .iter()
        .map(|t| {
            let [a, b, c] = t.map(|v| surface.positions[v as usize]);
            (b - a).cross(c - a).length() / 2.0
        })
        .sum()
}

pub(crate) struct Clock {
    last: Instant,
    laps: Vec<StageTime>,
}

impl Default for Clock {
    fn default() -> Self {
        Self {
            last: Instant::now(),
            laps: Vec::new(),
        }
    }
}

impl Clock {
    pub fn lap(&mut self, name: &'static str) {
        let now = Instant::now();
        let seconds = (now - self.last).as_secs_f64();
        self.last = now;
        match self.laps.iter_mut().find(|l| l.name == name) {
            Some(lap) => lap.seconds += seconds,
            None => self.laps.push(StageTime { name, seconds }),
        }
    }

    /// Adds what another clock took, and goes on from now.
    pub(crate) fn add(&mut self, other: Clock) {
        for lap in other.laps {
            match self.laps.iter_mut().find(|l| l.name == lap.name) {
                Some(mine) => mine.seconds += lap.seconds,
                None => self.laps.push(lap),
            }
        }
        self.last = Instant::now();
    }
}

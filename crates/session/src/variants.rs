//! Field to fill, tried in more than one way where strips of quads cross themselves.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use base::{Findings, Task};
use engine::assemble;
use engine::field::{self, Field, FieldOptions};
use engine::fill::join::{self, Joined};
use engine::fill::{self, Filled, Start};
use engine::layout::{self, Layout, LayoutOptions};
use engine::model::Plane;
use engine::quantise::{self, Plan, QuantiseOptions, Weighing};
use engine::symmetry::Half;
use rayon::prelude::*;

use crate::pipeline::{Clock, Prepared, Session, SessionError, Settings, Size};

/// Smoothing rounds of the field, and quads within which singularities cancel, tried in this
/// order until no strip crosses itself.
const VARIANTS: [(u32, f64); 4] = [(12, 3.0), (24, 1.0), (0, 3.0), (18, 1.0)];

/// The work surface with patches.
#[derive(Clone)]
pub(crate) struct Laid {
    pub cross: Field,
    pub patches: Layout,
    pub findings: Findings,
}

/// Field and patches of each variant, laid once however often plans are made on them.
#[derive(Default)]
pub(crate) struct Lays([Mutex<Option<Arc<Laid>>>; VARIANTS.len()]);

/// Quads on patches.
pub(crate) struct Planned {
    pub plan: Plan,
    pub filled: Filled,
    /// With the held quads, if there are any.
    pub joined: Option<Joined>,
    pub findings: Findings,
    /// By what the plan was weighed.
    pub weighing: Weighing,
    /// Strips of the whole surface that pass one quad twice.
    pub crossing: usize,
}

/// How plans are looked for.
#[derive(Clone, Copy)]
pub(crate) struct Look {
    pub weighing: Weighing,
    /// Whether seconds may be spent where strips cross themselves whatever the field.
    pub longer: bool,
    /// A variant that isn't wanted.
    pub without: Option<usize>,
}

/// One way from the work surface to quads.
pub(crate) struct Variant {
    /// Its place among the variants.
    pub index: usize,
    pub laid: Arc<Laid>,
    pub planned: Planned,
}

/// The number of a try, what came of it, and how long it took.
type Tried<T> = (usize, Result<T, SessionError>, Clock);

/// Strips of the whole surface that pass one quad twice.
fn crossing_strips(
    filled: &Filled,
    joined: Option<&Joined>,
    plane: Option<Plane>,
    edge: f64,
) -> usize {
    let half = &joined.map_or(filled, |j| &j.filled).mesh;
    let topology = match plane {
        Some(plane) => assemble::doubled(half, plane, edge, |at| plane.mirror(at))
            .0
            .topology(),
        None => half.topology(),
    };
    let strips = topology.strips();
    strips.iter().filter(|s| s.crosses_itself()).count()
}

/// A stretch of work with what it stands on.
struct Ground<'a> {
    session: &'a Session,
    prepared: &'a Prepared,
    half: &'a Half,
    settings: &'a Settings,
    lays: &'a Lays,
    task: &'a Task,
}

impl Session {
    /// Field to fill, with other settings where a strip crosses itself: the variant with the
    /// fewest such strips, of equal ones the first. The first one serves most sculpts.
    ///
    /// Where none serves, plans are weighed by arcs alone: numbers that hang less on each other
    /// leave more plans near them, and then, if asked, a longer look is taken at the best.
    pub(crate) fn best_variant(
        &self,
        prepared: &Prepared,
        half: &Half,
        settings: &Settings,
        lays: &Lays,
        look: Look,
        task: &Task,
        clock: &mut Clock,
    ) -> Result<Variant, SessionError> {
        // Unadvised: most refusals are never told, for another variant serves.
        let ground = Ground {
            session: self,
            prepared,
            half,
            settings,
            lays,
            task,
        };
        let wanted = (0..VARIANTS.len()).filter(|i| Some(*i) != look.without);
        let wanted: Vec<usize> = wanted.collect();
        let first = |i: usize, clock: &mut Clock| {
            let index = wanted[i];
            let laid = ground.laid(index, clock)?;
            let planned = ground.planned(&laid, look.weighing, None, false, clock)?;
            Ok(Variant {
                index,
                laid,
                planned,
            })
        };
        let mut variants: Vec<Variant> = Vec::new();
        let mut failure: Option<(usize, SessionError)> = None;
        for (i, tried, laps) in until_one_serves(wanted.len(), &first, |v| v.planned.crossing) {
            clock.add(laps);
            match tried {
                Ok(one) => variants.push(one),
                Err(problem) if problem.is_cancelled() => return Err(problem),
                Err(problem) => failure = failure.or(Some((wanted[i], problem))),
            }
        }
        let served = |variants: &[Variant]| variants.iter().any(|v| v.planned.crossing == 0);
        if look.weighing != Weighing::Arcs && !served(&variants) {
            ground.planned_again(&mut variants, false, clock)?;
        }
        if look.longer && !served(&variants) {
            // Stable, so of equal ones the first stays before the others.
            variants.sort_by_key(|v| v.planned.crossing);
            ground.planned_again(&mut variants, true, clock)?;
        }
        let best = variants.into_iter().min_by_key(|v| v.planned.crossing);
        best.ok_or_else(|| match failure {
            Some((index, problem)) => ground.advised(index, look.weighing, problem, clock),
            None => SessionError::NoArea,
        })
    }
}

/// So many variants, the later ones beside each other; those after one without strips that cross
/// themselves aren't needed, and aren't begun.
fn until_one_serves<T: Send>(
    variants: usize,
    made: &(impl Fn(usize, &mut Clock) -> Result<T, SessionError> + Sync),
    crossing: impl Fn(&T) -> usize + Sync,
) -> Vec<Tried<T>> {
    let served = AtomicUsize::new(usize::MAX);
    let tried = |i: usize| {
        if served.load(Ordering::Relaxed) < i {
            return None;
        }
        let mut laps = Clock::default();
        let made = made(i, &mut laps);
        if made.as_ref().is_ok_and(|m| crossing(m) == 0) {
            served.fetch_min(i, Ordering::Relaxed);
        }
        Some((i, made, laps))
    };
    let mut all: Vec<Tried<T>> = (0..variants.min(1)).filter_map(tried).collect();
    let rest: Vec<_> = (1..variants).into_par_iter().map(tried).collect();
    all.extend(rest.into_iter().flatten());
    all
}

impl Ground<'_> {
    /// A variant's refusal, with what would do where counts are refused.
    fn advised(
        &self,
        variant: usize,
        weighing: Weighing,
        problem: SessionError,
        clock: &mut Clock,
    ) -> SessionError {
        match &problem {
            SessionError::Quantise(refusal) if refusal.takes_advice() => {}
            _ => return problem,
        }
        let laid = self.laid(variant, clock);
        let again = laid.and_then(|laid| self.planned(&laid, weighing, None, true, clock));
        again.err().unwrap_or(problem)
    }

    /// Field and patches of a variant, those of an earlier try where there was one.
    fn laid(&self, variant: usize, clock: &mut Clock) -> Result<Arc<Laid>, SessionError> {
        let kept = &self.lays.0[variant];
        let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(laid) = &*kept {
            return Ok(Arc::clone(laid));
        }
        let laid = Arc::new(self.lay(variant, clock)?);
        *kept = Some(Arc::clone(&laid));
        Ok(laid)
    }

    fn lay(&self, variant: usize, clock: &mut Clock) -> Result<Laid, SessionError> {
        let (rounds, cancel) = VARIANTS[variant];
        let (prepared, settings, way) = (self.prepared, self.settings, self.session.way);
        let (surface, edge) = (&prepared.surface, prepared.edge);
        let mut options = FieldOptions::default();
        options.smoothing_rounds = rounds;
        options.curvature = way.curvature;
        options.cancel_reach = way.cancel_quads * edge;
        let (cross, mut findings) = field::run(surface, &prepared.aims, &options, self.task)?;
        clock.lap("field");
        let mut options = LayoutOptions::for_edge(edge);
        options.cancel_quads = cancel;
        options.rings_first = way.rings_first;
        options.adapt = settings.adapt;
        options.budget = matches!(settings.size, Size::Faces(_));
        let curves = &prepared.curves.curves;
        let laid = layout::run(surface, &cross, curves, &prepared.aims, &options, self.task);
        let (patches, more) = laid.map_err(|e| e.naming(&settings.guides))?;
        findings.append(more);
        clock.lap("layout");
        Ok(Laid {
            cross,
            patches,
            findings,
        })
    }

    /// Plans variants anew, weighed by arcs, until one serves; `longer`: with a longer look at the plans
    /// that they have, of which better ones are kept.
    fn planned_again(
        &self,
        variants: &mut [Variant],
        longer: bool,
        clock: &mut Clock,
    ) -> Result<(), SessionError> {
        let again = |i: usize, clock: &mut Clock| {
            let Variant { laid, planned, .. } = &variants[i];
            let before = longer.then_some(&planned.plan);
            self.planned(laid, Weighing::Arcs, before, false, clock)
        };
        for (i, tried, laps) in until_one_serves(variants.len(), &again, |p| p.crossing) {
            clock.add(laps);
            match tried {
                Ok(planned) if !longer || planned.crossing < variants[i].planned.crossing => {
                    variants[i].planned = planned;
                }
                Err(problem) if problem.is_cancelled() => return Err(problem),
                _ => {}
            }
        }
        Ok(())
    }

    /// Quads on a variant's patches; `before`: a plan that is looked at longer for one without
    /// spirals; `advise`: whether a refusal for counts looks for what would do.
    fn planned(
        &self,
        laid: &Laid,
        weighing: Weighing,
        before: Option<&Plan>,
        advise: bool,
        clock: &mut Clock,
    ) -> Result<Planned, SessionError> {
        let (prepared, task) = (self.prepared, self.task);
        let (surface, curves, edge) = (&prepared.surface, &prepared.curves.curves, prepared.edge);
        let patches = &laid.patches;
        let mut findings = Findings::default();
        let halves = if self.half.plane.is_some() { 2 } else { 1 };
        let faces = match self.settings.size {
            Size::Faces(n) => {
                let held = prepared.held.as_ref().map_or(0, |h| h.mesh.quads.len());
                Some((n / halves).saturating_sub(held).max(1))
            }
            Size::Edge(_) => None,
        };
        let (mut options, guides) = (QuantiseOptions::new(edge, faces), &prepared.guides);
        options.weighing = weighing;
        options.adapt = self.settings.adapt;
        options.advise = advise;
        let (plan, more) = match before {
            None => quantise::run(surface, patches, curves, guides, &options, task)?,
            Some(plan) => {
                let plan = plan.clone();
                quantise::in_line(surface, patches, curves, guides, &options, plan, task)?
            }
        };
        findings.append(more);
        clock.lap("quantise");
        let (filled, joined, more) = filled(prepared, laid, &plan, Start::Squarest, task)?;
        findings.append(more);
        clock.lap("fill");
        Ok(Planned {
            crossing: crossing_strips(&filled, joined.as_ref(), self.half.plane, edge),
            plan,
            filled,
            joined,
            findings,
            weighing,
        })
    }
}

/// Quads on patches for a plan, with held quads if there are any.
fn filled(
    prepared: &Prepared,
    laid: &Laid,
    plan: &Plan,
    start: Start,
    task: &Task,
) -> Result<(Filled, Option<Joined>, Findings), SessionError> {
    let (surface, patches) = (&prepared.surface, &laid.patches);
    let (mut filled, findings) = fill::run(surface, &laid.cross, patches, plan, start, task)?;
    let mut joined = None;
    if let Some(held) = &prepared.held {
        let runs = &prepared.curves.held;
        join::settle(&mut filled, surface, patches, held, runs)?;
        joined = Some(join::join(filled.clone(), patches, held));
    }
    Ok((filled, joined, findings))
}

impl Variant {
    /// Whether its vertices begin where those of another begin.
    pub(crate) fn begins_as(&self, other: &Self) -> bool {
        self.planned.filled.mesh.positions == other.planned.filled.mesh.positions
    }

    /// The same quads with their vertices begun along straight lines.
    pub(crate) fn straight(&self, prepared: &Prepared, task: &Task) -> Result<Self, SessionError> {
        let plan = self.planned.plan.clone();
        let (filled, joined, _) = filled(prepared, &self.laid, &plan, Start::Straight, task)?;
        Ok(Self {
            index: self.index,
            laid: Arc::clone(&self.laid),
            planned: Planned {
                plan,
                filled,
                joined,
                findings: self.planned.findings.clone(),
                ..self.planned
            },
        })
    }
}

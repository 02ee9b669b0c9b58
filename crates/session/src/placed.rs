//! From patches to a placed surface, planned in another way where the first has faults.

use base::{Findings, Task};
use engine::assemble::{self, Assembled};
use engine::check::{self, Faults};
use engine::conform::{self, ConformOptions};
use engine::fill::Filled;
use engine::quantise::Weighing;
use engine::symmetry::Half;
use mesh::QuadMesh;

use crate::pipeline::{Clock, Prepared, Session, SessionError, Settings};
use crate::variants::{Lays, Look, Variant};

/// A surface, placed, and what it was made from.
pub(crate) struct Placed {
    pub variant: Variant,
    /// With the held quads, if there are any.
    pub filled: Filled,
    /// The half, placed.
    pub placed: QuadMesh,
    pub whole: Assembled,
    /// What conforming says.
    pub findings: Findings,
}

/// A surface with what speaks against it.
struct Tried {
    placed: Placed,
    /// Strips that pass one quad twice.
    spirals: usize,
    faults: Faults,
}

impl Tried {
    /// The first that differs decides.
    fn badness(&self) -> (usize, [usize; 2]) {
        (self.spirals, self.faults.badness())
    }

    fn serves(&self) -> bool {
        self.faults.none()
    }
}

impl Session {
    /// The surface as the session's way has plans weighed. Where that has quads folded or squeezed,
    /// misses a guide or passes a part of the sculpt by, or can't be placed, other ways are tried until one
    /// has no faults: the same quads begun elsewhere, plans weighed by arcs alone, then the field's other
    /// variants. The one with the fewest faults is kept, of equal ones the first.
    pub(crate) fn best_placed(
        &self,
        prepared: &Prepared,
        half: &Half,
        settings: &Settings,
        task: &Task,
        clock: &mut Clock,
    ) -> Result<Placed, SessionError> {
        let lays = Lays::default();
        let weighed = |variant: Variant, clock: &mut Clock| {
            let spirals = variant.planned.crossing;
            let placed = self.placed(prepared, half, settings, variant, task)?;
            clock.lap("conform");
            // What can't be looked at is the worst there is, and the check after says why.
            let faults = check::faults(&placed.whole.mesh, &self.sculpt, &settings.guides);
            let faults = faults.unwrap_or(Faults::WORST);
            clock.lap("faults");
            Ok(Tried {
                placed,
                spirals,
                faults,
            })
        };
        let tried = |look, clock: &mut Clock| {
            let variant = self.best_variant(prepared, half, settings, &lays, look, task, clock)?;
            weighed(variant, clock)
        };
        let look = Look {
            weighing: self.way.weighing,
            longer: true,
            without: None,
        };
        let mut best: Result<Tried, SessionError> = tried(look, clock);
        // Vertices that begin elsewhere may end elsewhere: that is soon tried.
        if let Ok(one) = &best
            && !one.serves()
        {
            let variant = &one.placed.variant;
            let straight = variant.straight(prepared, task);
            clock.lap("fill");
            let other = match straight {
                // Grids alone begin in one way only.
                Ok(straight) if straight.begins_as(variant) => None,
                straight => Some(straight.and_then(|straight| weighed(straight, clock))),
            };
            match other {
                Some(Ok(other)) if other.badness() < one.badness() => best = Ok(other),
                Some(Err(problem)) if problem.is_cancelled() => return Err(problem),
                _ => {}
            }
        }
        let (first, by_arcs) = match &best {
            Ok(one) => {
                let Variant { index, planned, .. } = &one.placed.variant;
                (Some(*index), planned.weighing == Weighing::Arcs)
            }
            Err(_) => (None, false),
        };
        let others = [
            (!by_arcs).then_some((Weighing::Arcs, None)),
            first.map(|_| (self.way.weighing, first)),
        ];
        for (weighing, without) in others.into_iter().flatten() {
            let done = match &best {
                Ok(one) => one.serves(),
                Err(problem) => {
                    !matches!(problem, SessionError::Conform(_)) || problem.is_cancelled()
                }
            };
            if done {
                break;
            }
            // Plans by arcs came first where others had spirals: only there a longer look can pay.
            let look = Look {
                weighing,
                longer: by_arcs,
                without,
            };
            let other = tried(look, clock);
            best = match (best, other) {
                (_, Err(problem)) if problem.is_cancelled() => return Err(problem),
                (Ok(one), Ok(other)) if one.badness() <= other.badness() => Ok(one),
                (Ok(one), Err(_)) => Ok(one),
                (_, Ok(other)) => Ok(other),
                (Err(problem), Err(_)) => Err(problem),
            };
        }
        best.map(|one| one.placed)
    }

    fn placed(
        &self,
        prepared: &Prepared,
        half: &Half,
        settings: &Settings,
        mut variant: Variant,
        task: &Task,
    ) -> Result<Placed, SessionError> {
        let (laid, planned) = (&variant.laid, &mut variant.planned);
        let (surface, curves, edge) = (&prepared.surface, &prepared.curves.curves, prepared.edge);
        let mut options = ConformOptions::for_edge(edge);
        options.straddle = self.way.straddle;
        let (mut placed, findings) = conform::run(
            &planned.filled,
            surface,
            &laid.cross,
            &laid.patches,
            curves,
            conform::Ground {
                sculpt: &self.sculpt,
                light: prepared.light.as_deref(),
            },
            half.plane,
            &options,
            task,
        )?;
        let filled = match (planned.joined.take(), &prepared.held) {
            (Some(joined), Some(held)) => {
                placed = joined.placed(placed, held);
                joined.filled
            }
            _ => planned.filled.clone(),
        };
        let whole = assemble::run(&assemble::Parts {
            half: &placed,
            filled: &filled,
            surface,
            layout: &laid.patches,
            plan: &planned.plan,
            curves,
            guides: &prepared.guides,
            sculpt: &self.sculpt,
            plane: half.plane,
            sides: settings.sides,
            edge,
        });
        Ok(Placed {
            variant,
            filled,
            placed,
            whole,
            findings,
        })
    }
}

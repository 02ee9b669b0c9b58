//! Field: one cross of four directions at each vertex of the work surface.
//!
//! Takes the work surface, gives a smooth 4-direction field that runs along every
//! chain (guides, openings, the mirror plane), and its singular triangles.
//! Holds: the indices and the turning of the boundary sum to the Euler
//! characteristic (Poincaré–Hopf).
//!
//! The field is the smoothest one with those directions given (Knöppel, Crane,
//! Pinkall & Schröder 2013, equation 6 with Dirichlet conditions), on a copy of
//! the surface that is smoothed to the scale of the quads, so that wrinkles
//! aren't read as flow.

mod cancel;
mod corners;
mod curvature;
mod frames;
mod periods;
mod solve;
mod steer;
#[cfg(test)]
mod tests;

use base::{Finding, Findings, Level, Place, Task};
use mesh::{DVec3, TriTopology};
use thiserror::Error;

use crate::intent::Aims;
use crate::model::WorkSurface;
use curvature::Pull;
pub use frames::{Frames, wrap};
use periods::{Periods, System};
use steer::{Steered, Steering};

/// Options of the field.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct FieldOptions {
    /// Rounds of smoothing applied to the copy that the field is found on, each of
    /// which reaches about one work edge further; default 12, about two quads.
    pub smoothing_rounds: u32,
    /// How strongly the field is drawn along the surface's bends: at 1 a tube turns it within about
    /// its radius; default 0.3.
    pub curvature: f64,
    /// Singular places of opposite sign within this way of each other (model units) are taken out
    /// where the field loses little by it; default 0, none.
    pub cancel_reach: f64,
    /// What a field may lose by it, square radians summed over edges; default 0,
    /// so that only what makes it smoother is taken out.
    pub cancel_price: f64,
}

impl Default for FieldOptions {
    fn default() -> Self {
        Self {
            smoothing_rounds: 12,
            curvature: 0.3,
            cancel_reach: 0.0,
            cancel_price: 0.0,
        }
    }
}

/// Why there is no field.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum FieldError {
    /// The work surface isn't manifold.
    #[error("the work surface is not manifold: {0}")]
    Surface(#[from] mesh::TopologyError),
    /// The linear system could not be solved.
    #[error("the direction field could not be solved: {0}")]
    Solve(#[from] numeric::SpdError),
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] base::Cancelled),
}

/// A singular triangle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Singularity {
    /// Work-surface triangle.
    pub triangle: u32,
    /// Index in quarter turns: +1 for a coming three-pole, −1 for a five-pole.
    pub quarters: i32,
}

/// A cross field on a work surface.
#[derive(Clone, Debug)]
pub struct Field {
    /// Connectivity of the work surface.
    pub topology: TriTopology,
    /// Smoothed positions that the field, its frames and its curves live on.
    pub smooth: Vec<DVec3>,
    /// Tangent frames of `smooth`.
    pub frames: Frames,
    /// One of the four directions at each vertex, as an angle in its frame.
    pub angle: Vec<f64>,
    /// Singular triangles in rising order.
    pub singularities: Vec<Singularity>,
    /// For each pin, the singular triangle that is to become its pole, where there is one.
    pub pinned: Vec<Option<u32>>,
}

impl Field {
    /// How many quarter turns take direction 0 at the start of a half-edge to
    /// the direction nearest to it at the end.
    pub fn matching(&self, half: u32) -> i32 {
        let (a, b) = (
            self.topology.from(half) as usize,
            self.topology.to(half) as usize,
        );
        let carried = self.angle[a] + self.frames.transport(half);
        ((carried - self.angle[b]) / std::f64::consts::FRAC_PI_2).round() as i32
    }

    fn find_singularities(&mut self) {
        self.singularities = (0..self.topology.triangles.len() as u32)
            .map(|triangle| Singularity {
                triangle,
                quarters: self.index_of(triangle),
            })
            .filter(|s| s.quarters != 0)
            .collect();
    }

    fn middles(&self, positions: &[DVec3]) -> Vec<DVec3> {
        let triangles = self.topology.triangles.iter();
        triangles
            .map(|t| t.iter().map(|&v| positions[v as usize]).sum::<DVec3>() / 3.0)
            .collect()
    }

    /// Takes out pairs of singular places that serve nothing, then brings others to where poles
    /// are pinned and out of where they are barred.
    fn move_places(
        &mut self,
        surface: &WorkSurface,
        system: System,
        pull: &Pull,
        aims: &Aims,
        options: &FieldOptions,
    ) -> Steered {
        let middles = self.middles(&self.smooth);
        let mut periods = Periods::new(&self.topology, system, pull, self.angle.clone());
        let first = periods.state();
        periods.solve();
        if !periods.is_true() {
            periods.restore(first);
        }
        let rule = cancel::Cancelling {
            reach: options.cancel_reach,
            price: options.cancel_price,
        };
        let left = cancel::cancel(&mut periods, &middles, &self.singularities, rule);
        let steered = if aims.steer() {
            let real = self.middles(&surface.positions);
            let mut steering = Steering {
                periods: &mut periods,
                middles: &middles,
                real: &real,
                triangles: &self.topology.triangles,
                left,
                quad: aims.quad,
            };
            steering.run(aims)
        } else {
            Steered::default()
        };
        let angle = std::mem::take(&mut periods.angle);
        self.angle = angle
            .into_iter()
            .map(|a| a.rem_euclid(std::f64::consts::FRAC_PI_2))
            .collect();
        self.find_singularities();
        steered
    }

    /// Index of a triangle in quarter turns.
    pub fn index_of(&self, triangle: u32) -> i32 {
        let holonomy: f64 = (0..3)
            .map(|i| {
                let h = 3 * triangle + i;
                let (a, b) = (self.topology.from(h) as usize, self.topology.to(h) as usize);
                let turn = self.angle[b] - self.angle[a] - self.frames.transport(h);
                wrap(turn, std::f64::consts::FRAC_PI_2) + self.frames.transport(h)
            })
            .sum();
        // A flat triangle's transports sum to a whole turn; what is left beside
        // the curvature is the index.
        let turns = holonomy / std::f64::consts::FRAC_PI_2;
        let mut quarters = turns.round() as i64 % 4;
        if quarters > 2 {
            quarters -= 4;
        }
        if quarters < -2 {
            quarters += 4;
        }
        quarters as i32
    }
}

/// Finds the field.
///
/// # Errors
/// [`FieldError`] when the surface isn't manifold, the system can't be solved or the work was cancelled.
pub fn run(
    surface: &WorkSurface,
    aims: &Aims,
    options: &FieldOptions,
    task: &Task,
) -> Result<(Field, Findings), FieldError> {
    task.report("field", 0.0)?;
    let topology = TriTopology::new(surface.positions.len(), &surface.triangles)?;
    let smooth = smoothed(surface, &topology, options.smoothing_rounds);
    let frames = Frames::new(&topology, &smooth);
    let fixed = solve::directions_of_chains(surface, &topology, &frames);
    let pull = Pull::of_curvature(&topology, &frames, &smooth, options.curvature);
    let moves = options.cancel_reach > 0.0 || aims.steer();
    // Half of a field's time is two systems, of which neither waits for the other.
    let (angle, system) = rayon::join(
        || solve::smoothest(&topology, &frames, &fixed, &pull),
        || moves.then(|| System::new(&topology, &frames, &fixed, &pull)),
    );
    let (angle, system) = (angle?, system.transpose()?);
    let mut field = Field {
        topology,
        smooth,
        frames,
        angle,
        singularities: Vec::new(),
        pinned: Vec::new(),
    };
    field.find_singularities();
    let mut steered = Steered::default();
    if let Some(system) = system {
        task.checkpoint()?;
        steered = field.move_places(surface, system, &pull, aims, options);
    }
    task.report("field", 1.0)?;
    let mut findings = Findings::default();
    findings.push(Finding::new(
        "field-singularities",
        Level::Note,
        format!(
            "The direction field has {} singular places, whose indices sum to {} quarter turns.",
            field.singularities.len(),
            field.singularities.iter().map(|s| s.quarters).sum::<i32>()
        ),
    ));
    for place in &steered.stuck {
        let corners = field.topology.triangles[place.triangle as usize];
        let at = corners
            .iter()
            .map(|&v| surface.positions[v as usize])
            .sum::<DVec3>()
            / 3.0;
        findings.push(
            Finding::new(
                "keep-out-stuck",
                Level::Note,
                "A pole can't leave a keep-out: the guides around it ask for one there.",
            )
            .at(Place::Point { at: at.to_array() }),
        );
    }
    field.pinned = steered.pins;
    Ok((field, findings))
}

/// Positions smoothed towards the mean of the neighbours; along chains only the
/// chain's neighbours count, so that boundaries keep their shape; their corners stay.
fn smoothed(surface: &WorkSurface, topology: &TriTopology, rounds: u32) -> Vec<DVec3> {
    let mut along: Vec<Vec<u32>> = vec![Vec::new(); surface.positions.len()];
    let mut pinned = corners::corners(surface, topology);
    for chain in &surface.chains {
        let n = chain.vertices.len();
        for i in 0..n {
            let v = chain.vertices[i] as usize;
            if !along[v].is_empty() || (!chain.closed && (i == 0 || i + 1 == n)) {
                pinned[v] = true;
            }
            if i > 0 || chain.closed {
                along[v].push(chain.vertices[(i + n - 1) % n]);
            }
            if i + 1 < n || chain.closed {
                along[v].push(chain.vertices[(i + 1) % n]);
            }
        }
    }
    let around: Vec<Vec<u32>> = (0..surface.positions.len())
        .map(|v| {
            if along[v].is_empty() {
                topology.neighbours(v as u32).iter().map(|n| n.0).collect()
            } else {
                std::mem::take(&mut along[v])
            }
        })
        .collect();
    let mut now = surface.positions.clone();
    for _ in 0..rounds {
        now = (0..now.len())
            .map(|v| {
                if pinned[v] || around[v].is_empty() {
                    return now[v];
                }
                let mean = around[v].iter().map(|&n| now[n as usize]).sum::<DVec3>()
                    / around[v].len() as f64;
                now[v].lerp(mean, 0.5)
            })
            .collect();
    }
    now
}

//! Limbs measured: a chain's middle line, and sections square to it.

use std::f64::consts::{PI, TAU};

use mesh::{DVec3, Run, runs};

use super::chains::{self, Chain, End};
use super::cut;
use super::ground::Ground;
use super::runs::blurred;

/// Most sections of a limb.
const MOST_SECTIONS: f64 = 160.0;
/// A section this many times as long as expected, or as short, is another part's.
const OTHER: f64 = 1.7;
/// Times that sections are made square to the middles of the last ones.
const ROUNDS: usize = 2;
/// Width of the bell that smooths the middle line, in radii.
const BLUR: f64 = 0.4;

/// A section of a limb.
#[derive(Clone, Debug)]
pub(super) struct Station {
    /// Way along the middle line, model units.
    pub way: f64,
    pub centre: DVec3,
    /// Unit, along the middle line.
    pub along: DVec3,
    /// Length of the section, model units.
    pub girth: f64,
}

impl Station {
    /// Radius of a circle as long, model units.
    pub fn radius(&self) -> f64 {
        self.girth / TAU
    }
}

/// A tube of the sculpt.
#[derive(Clone, Debug)]
pub(super) struct Limb {
    pub stations: Vec<Station>,
    pub ends: [End; 2],
    /// Way between stations, model units.
    pub step: f64,
    /// How far its level loops lean, in radii: the less, the better its chain fits it.
    pub lean: f64,
    /// Triangles of the light sculpt on it, rising.
    pub triangles: Vec<u32>,
}

impl Limb {
    /// Mean girth, model units.
    pub fn girth(&self) -> f64 {
        let sum: f64 = self.stations.iter().map(|s| s.girth).sum();
        sum / self.stations.len().max(1) as f64
    }

    /// Length of the middle line, model units.
    pub fn length(&self) -> f64 {
        self.step * self.stations.len().saturating_sub(1) as f64
    }
}

/// Measures a chain; `None` if it is no tube: too short, or no sections go around it.
pub(super) fn limb(ground: &Ground<'_>, chain: &Chain) -> Option<Limb> {
    let middles = chains::centres(chain);
    let girths: Vec<f64> = chain.loops.iter().map(Run::length).collect();
    let radius = girths.iter().sum::<f64>() / girths.len().max(1) as f64 / TAU;
    let long = runs::length(&middles, false);
    if long < radius {
        return None;
    }
    let step = (0.5 * ground.edge)
        .min(0.3 * radius)
        .max(long / MOST_SECTIONS);
    let mut line = runs::even(&middles, false, step);
    let mut expected: Vec<f64> = (0..line.len())
        .map(|i| {
            let share = i as f64 / (line.len() - 1).max(1) as f64;
            girths[(share * (girths.len() - 1) as f64).round() as usize]
        })
        .collect();
    let mut ends = chain.ends;
    let mut stations = Vec::new();
    for round in 0..=ROUNDS {
        let width = BLUR * radius / step;
        line = blurred(&line, width);
        stations = sections(ground, &line, &expected, &mut ends);
        if stations.len() < 4 {
            return None;
        }
        if round < ROUNDS {
            let middles: Vec<DVec3> = stations.iter().map(|s| s.centre).collect();
            line = runs::even(&middles, false, step);
            let last = stations.len() - 1;
            expected = (0..line.len())
                .map(|i| stations[(i * last).div_ceil(line.len().max(2) - 1).min(last)].girth)
                .collect();
        }
    }
    let step = stations
        .windows(2)
        .map(|w| w[0].centre.distance(w[1].centre))
        .sum::<f64>()
        / (stations.len() - 1) as f64;
    let girth = blurred(&stations.iter().map(|s| s.girth).collect::<Vec<f64>>(), 1.0);
    for (i, (station, girth)) in stations.iter_mut().zip(girth).enumerate() {
        station.way = i as f64 * step;
        station.girth = girth;
    }
    let limb = Limb {
        lean: lean(chain, &stations),
        stations,
        ends,
        step,
        triangles: chain.triangles.clone(),
    };
    (limb.length() >= limb.girth() / PI * 0.75).then_some(limb)
}

/// The longest row of stations whose planes cut the limb in a loop of about the expected length.
fn sections(
    ground: &Ground<'_>,
    line: &[DVec3],
    expected: &[f64],
    ends: &mut [End; 2],
) -> Vec<Station> {
    let last = line.len() - 1;
    let found: Vec<Option<Station>> = (0..line.len())
        .map(|i| {
            let along = (line[(i + 1).min(last)] - line[i.saturating_sub(1)]).normalize_or_zero();
            let run = around(ground, line[i], along, expected[i])?;
            let girth = run.length();
            Some(Station {
                way: 0.0,
                centre: run.centroid(),
                along,
                girth,
            })
        })
        .collect();
    let mut best = 0..0;
    let mut from = 0;
    for i in 0..=found.len() {
        if found.get(i).is_none_or(Option::is_none) {
            if i - from > best.len() {
                best = from..i;
            }
            from = i + 1;
        }
    }
    // Where sections fail well before an end, something else grows out of the limb.
    let much = 3;
    if best.start > much && ends[0] != End::Boundary {
        ends[0] = End::Body;
    }
    if best.end + much < found.len() && ends[1] != End::Boundary {
        ends[1] = End::Body;
    }
    found
        .into_iter()
        .skip(best.start)
        .take(best.len())
        .flatten()
        .collect()
}

/// The loop around `centre` in the plane square to `along` that is nearest to `expected` in
/// length.
pub(super) fn around(
    ground: &Ground<'_>,
    centre: DVec3,
    along: DVec3,
    expected: f64,
) -> Option<Run> {
    if along == DVec3::ZERO {
        return None;
    }
    let off = |run: &Run| (run.length() / expected).ln().abs();
    cut::section(ground, centre, along)
        .into_iter()
        .filter(|run| run.closed && run.points.len() >= 6 && off(run) < OTHER.ln())
        .filter(|run| cut::encloses(run, centre, along))
        .min_by(|a, b| off(a).total_cmp(&off(b)))
}

/// Mean reach of the level loops along the middle line, in radii.
fn lean(chain: &Chain, stations: &[Station]) -> f64 {
    let of = |run: &Run| {
        let centre = run.centroid();
        let near = stations.iter().min_by(|a, b| {
            a.centre
                .distance(centre)
                .total_cmp(&b.centre.distance(centre))
        })?;
        let ways = run.points.iter().map(|p| (*p - centre).dot(near.along));
        let (low, high) = ways.fold((0.0_f64, 0.0_f64), |(l, h), w| (l.min(w), h.max(w)));
        Some((high - low) / near.radius().max(f64::MIN_POSITIVE))
    };
    let leans: Vec<f64> = chain.loops.iter().filter_map(of).collect();
    leans.iter().sum::<f64>() / leans.len().max(1) as f64
}

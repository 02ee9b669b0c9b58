//! Lining: thick cloth, a second wall inside of the whole part.
//!
//! Each vertex of the surface has one behind it, where the planes of its quads, moved in by the
//! thickness, meet, as in trims (`trims/parallel.rs`). At every opening a rim of quads joins the
//! walls; where a trim is, its inner wall goes on into the lining instead. The surface's and the
//! trims' vertices and quads come first, as they were.

use std::collections::BTreeMap;

use base::{Cancelled, Finding, Findings, Level, Place, Task};
use engine::check::{self, CheckError};
use engine::model::Plane;
use mesh::{DVec3, Group, QuadMesh};
use rayon::prelude::*;
use thiserror::Error;

use crate::trims::Trimmed;
use crate::trims::findings::{MOST, but_for, mirror_of, thickness};
use crate::trims::fit::{FINE, fitted};
use crate::trims::parallel::{self, SHARE};
use crate::trims::profile::CORNER;
use crate::trims::weave::{Walls, images};

#[cfg(test)]
mod tests;

/// Name of the lining's group.
pub const GROUP: &str = "lining";
/// Trims and lining are equally thick within this share.
const SAME: f64 = 0.01;
/// Most places that a finding names.
const PLACES: usize = 40;
/// Images lie within this of where they are computed from the other side, edges.
const IMAGE: f64 = 1e-9;

/// Why there can be no lining.
#[derive(Debug, Error)]
pub enum LiningError {
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// The surface is damaged.
    #[error(transparent)]
    Check(#[from] CheckError),
    /// No length.
    #[error("[lining]: thickness is {thickness}; it must be a length above 0")]
    Thickness {
        /// As asked for.
        thickness: f64,
    },
    /// Too thick for the place.
    #[error(
        "[lining]: a thickness of {thickness} is too much near ({:.2}, {:.2}, {:.2}), where the part bends within {radius:.3} or is no wider than twice that; at most {} goes there (0.8 times that). Ask for less, or open the place up",
        at[0], at[1], at[2], crate::told::at_most(*most)
    )]
    TooThick {
        /// As asked for, model units.
        thickness: f64,
        /// Local radius, or half the width there, model units.
        radius: f64,
        /// Greatest thickness that goes, model units.
        most: f64,
        /// Where, model units.
        at: [f64; 3],
    },
}

/// A surface with a lining.
#[derive(Clone, Debug)]
pub struct Lined {
    /// What was there, then the lining's vertices and quads.
    pub surface: QuadMesh,
    /// How it came out.
    pub findings: Findings,
    asked: f64,
    plane: Option<Plane>,
    /// Quads of the surface without trims, and without the lining.
    own: [usize; 2],
    /// The vertex behind each of the surface's own, where there is one.
    behind: Vec<Option<u32>>,
    /// Whether that is the lining's own or a trim's.
    is_lining: Vec<bool>,
    /// Vertices of rims between the walls, by the surface's vertex there.
    between: BTreeMap<u32, Vec<Between>>,
    /// The image of each of the surface's vertices; empty without a plane.
    image: Vec<u32>,
    walls: Walls,
    /// Quads of trims that have no image, rising.
    unpaired: Vec<u32>,
}

/// A vertex of a rim between the walls.
#[derive(Clone, Copy, Debug)]
struct Between {
    id: u32,
    /// Of the way from the outer wall to the inner.
    share: f64,
    /// Whether it isn't a trim's.
    is_lining: bool,
}

/// Lines a surface; `own` is the surface without trims, which comes first in `trimmed`.
///
/// # Errors
/// [`LiningError`] for a thickness that can't be had, or a damaged surface.
pub fn run(
    own: &QuadMesh,
    trimmed: Option<&Trimmed>,
    plane: Option<Plane>,
    asked: f64,
    task: &Task,
) -> Result<Lined, LiningError> {
    task.report("lining", 0.0)?;
    if !(asked.is_finite() && asked > 0.0) {
        return Err(LiningError::Thickness { thickness: asked });
    }
    let mut surface = trimmed.map_or_else(|| own.clone(), |t| t.surface.clone());
    check::crossings(own)?;
    let offsets = offsets(own, &own.positions);
    if let Some((radius, v)) = tightest(own, &offsets, asked) {
        return Err(LiningError::TooThick {
            thickness: asked,
            radius,
            most: SHARE * radius,
            at: own.positions[v].to_array(),
        });
    }
    let (pairs, covered) = trimmed.map(Trimmed::behind).unwrap_or_default();
    let mut behind: Vec<Option<u32>> = vec![None; own.positions.len()];
    for &[v, inner] in &pairs {
        behind[v as usize] = Some(inner);
    }
    let covered = |v: u32| covered.binary_search(&v).is_ok() && behind[v as usize].is_none();
    let lined = |quad: &&[u32; 4]| {
        // Cloth is behind a quad once it is behind all of it.
        let has = |&v: &u32| covered(v) || behind[v as usize].is_some();
        !(quad.iter().any(|&v| covered(v)) && quad.iter().all(has))
    };
    let quads = (0..own.quads.len()).filter(|&q| lined(&&own.quads[q]));
    let quads: Vec<usize> = quads.collect();
    let mut is_lining = vec![false; own.positions.len()];
    for v in quads.iter().flat_map(|&q| own.quads[q]) {
        if behind[v as usize].is_none() {
            behind[v as usize] = Some(surface.positions.len() as u32);
            is_lining[v as usize] = true;
            surface.positions.push(DVec3::ZERO);
        }
    }
    let first = surface.quads.len();
    let topology = surface.topology();
    let at = |v: u32| behind[v as usize].unwrap_or(v);
    let mut walls = Walls::default();
    // Beside trims of another thickness the lining goes over from one to the other.
    let same = |t: f64| (t - asked).abs() <= SAME * asked;
    let steady = trimmed.is_none_or(|t| t.thicknesses().all(same));
    let mut rims = Vec::new();
    for q in quads {
        let quad = own.quads[q];
        let [a, b, c, d] = quad;
        if steady || quad.iter().all(|&v| is_lining[v as usize]) {
            walls.inner.push(surface.quads.len() as u32);
            walls.outer.push(q as u32);
        }
        surface.quads.push([at(a), at(d), at(c), at(b)]);
        for i in 0..4 {
            let (v, w) = (quad[i], quad[(i + 1) % 4]);
            let edge = topology.edge_of_corner[4 * q + i];
            if topology.face_count[edge as usize] == 1 {
                rims.push([w, v]);
            }
        }
    }
    let seams = trimmed.map(Trimmed::end_seams).unwrap_or_default();
    let between = rim_vertices(&rims, &seams, &behind, &mut surface.positions);
    for [w, v] in rims {
        let column = |v: u32| {
            let middle = between[&v].iter().map(|b| b.id);
            let all: Vec<u32> = [v].into_iter().chain(middle).chain([at(v)]).collect();
            all
        };
        let (one, two) = (column(w), column(v));
        for k in 1..one.len() {
            walls.rim.push(surface.quads.len() as u32);
            surface.quads.push([one[k - 1], two[k - 1], two[k], one[k]]);
        }
    }
    let mut name = GROUP.to_owned();
    while surface.groups.iter().any(|g| g.name == name) {
        name.push_str("_wall");
    }
    let quads = (first as u32..surface.quads.len() as u32).collect();
    surface.groups.push(Group { name, quads });
    let mut lined = Lined {
        image: images(own, plane),
        surface,
        findings: Findings::default(),
        asked,
        plane,
        own: [own.quads.len(), first],
        behind,
        is_lining,
        between,
        walls,
        unpaired: trimmed.map(|t| t.unpaired().to_vec()).unwrap_or_default(),
    };
    lined.surface.positions = lined.relaid(&lined.surface.positions);
    lined.findings = lined.measured()?;
    task.report("lining", 1.0)?;
    Ok(lined)
}

impl Lined {
    /// Pairs of vertices of which the first goes where the second does: the lining's with the
    /// surface's.
    pub fn tied(&self) -> Vec<[u32; 2]> {
        let walls = self.pairs().map(|[v, inner]| [inner, v]);
        let rims = self.between.iter().flat_map(|(&v, all)| {
            let own = all.iter().filter(|b| b.is_lining);
            own.map(move |b| [b.id, v])
        });
        walls.chain(rims).collect()
    }

    /// Vertices of the surface and the lining's behind them.
    fn pairs(&self) -> impl Iterator<Item = [u32; 2]> {
        let all = (0..).zip(&self.behind).zip(&self.is_lining);
        let own = all.filter(|(_, is_lining)| **is_lining);
        own.filter_map(|((v, behind), _)| behind.map(|inner| [v, inner]))
    }

    /// Positions with the lining laid anew behind a surface whose vertices are at `moved`.
    pub fn relaid(&self, moved: &[DVec3]) -> Vec<DVec3> {
        let mut positions = moved.to_vec();
        let own = &self.surface.quads[..self.own[0]];
        let outer = QuadMesh {
            positions: moved[..self.behind.len()].to_vec(),
            quads: own.to_vec(),
            groups: Vec::new(),
        };
        let offsets = offsets(&outer, &outer.positions);
        let mut laid = self.surface.clone();
        laid.positions.copy_from_slice(&positions);
        let mut free = vec![false; positions.len()];
        for [v, inner] in self.pairs() {
            laid.positions[inner as usize] = moved[v as usize] + self.asked * offsets[v as usize];
            free[inner as usize] = true;
        }
        let walls = (&self.walls.outer[..], &self.walls.inner[..]);
        let found = thickness(&laid, self.asked, &self.walls, None);
        let fitted = match found.share >= FINE {
            true => laid.positions,
            false => fitted(&laid, walls, self.asked, &free),
        };
        for [v, inner] in self.pairs() {
            let at = fitted[inner as usize];
            let (inner, v) = (inner as usize, v as usize);
            match (self.plane, self.image.get(v)) {
                (Some(plane), Some(&image)) if image as usize == v => {
                    positions[inner] = plane.project(at);
                }
                (Some(plane), Some(&image)) => {
                    // The side that the plane looks at is laid, the other is its image.
                    if plane.height(moved[v]) > 0.0 {
                        positions[inner] = at;
                        if let Some(other) = self.behind[image as usize] {
                            positions[other as usize] = plane.mirror(at);
                        }
                    }
                }
                _ => positions[inner] = at,
            }
        }
        for (&v, all) in &self.between {
            let image = self.image.get(v as usize).copied();
            let Some(inner) = self.behind[v as usize] else {
                continue;
            };
            for (k, b) in all.iter().enumerate().filter(|b| b.1.is_lining) {
                let at = positions[v as usize].lerp(positions[inner as usize], b.share);
                match (self.plane, image) {
                    (Some(plane), Some(image)) if image == v => {
                        positions[b.id as usize] = plane.project(at);
                    }
                    (Some(plane), Some(image)) => {
                        if plane.height(moved[v as usize]) > 0.0 {
                            positions[b.id as usize] = at;
                            if let Some(other) = self.between.get(&image).and_then(|all| all.get(k))
                            {
                                positions[other.id as usize] = plane.mirror(at);
                            }
                        }
                    }
                    _ => positions[b.id as usize] = at,
                }
            }
        }
        positions
    }

    /// The same lining, measured anew, with vertices elsewhere.
    ///
    /// # Errors
    /// [`LiningError`] for positions that make no surface.
    pub fn at(&self, positions: Vec<DVec3>) -> Result<Self, LiningError> {
        let mut moved = self.clone();
        moved.surface.positions = positions;
        moved.findings = moved.measured()?;
        Ok(moved)
    }

    fn measured(&self) -> Result<Findings, LiningError> {
        let mut findings = Findings::default();
        let found = thickness(&self.surface, self.asked, &self.walls, None);
        let [least, most] = found.range;
        let mut told = |code: &str, holds: bool, sentence: String, value: f64, limit: f64| {
            let level = if holds { Level::Pass } else { Level::Fail };
            let finding = Finding::new(code, level, sentence).measured(value, Some(limit));
            let at = found.worst.to_array();
            let place = (!holds).then_some(Place::Point { at });
            findings.push(place.into_iter().fold(finding, Finding::at));
        };
        told(
            "lining-thickness",
            found.share >= MOST,
            format!(
                "Lining: {:.1} % of its walls are {} apart within 5 % ({least:.3} to {most:.3}).",
                100.0 * found.share,
                self.asked
            ),
            found.share,
            MOST,
        );
        let facing = match found.facing >= 1.0 {
            true => "Lining: both walls face away from each other all over.",
            false => "Lining: its walls don't face away from each other all over.",
        };
        told(
            "lining-facing",
            found.facing >= 1.0,
            facing.into(),
            found.facing,
            1.0,
        );
        let sound = check::soundness(&self.surface, None)?;
        let mirror = mirror_of(&self.surface, self.plane, &self.unpaired)?;
        let faults = sound.counts.faults();
        let sentence = match faults {
            0 => format!(
                "With its lining the surface has {} quads, is manifold and faces one way all over.",
                self.surface.quads.len()
            ),
            n => format!(
                "With its lining the surface has {n} edges or vertices that aren't manifold or face both ways."
            ),
        };
        told("lining-manifold", faults == 0, sentence, faults as f64, 0.0);
        if let Some(mirror) = mirror {
            let holds = mirror.error <= IMAGE && mirror.faces_missing == 0;
            let missing = mirror.faces_missing;
            let sentence = match holds {
                true => format!(
                    "With its lining the surface is its own exact mirror image{}.",
                    but_for(&self.surface, &self.unpaired)
                ),
                false => format!("With its lining {missing} quads have no exact mirror image."),
            };
            told("lining-mirror", holds, sentence, missing as f64, 0.0);
        }
        let first = self.own[1] as u32;
        let new = sound
            .crossings
            .iter()
            .filter(|p| p.iter().any(|&q| q >= first));
        let mut quads: Vec<u32> = new.flatten().copied().collect();
        quads.sort_unstable();
        quads.dedup();
        let (level, sentence) = match quads.len() {
            0 => (Level::Pass, "The lining passes through nothing.".to_owned()),
            n => (
                Level::Fail,
                format!(
                    "The lining passes through the surface, a trim or itself: {n} quads. Ask for a thinner lining, or make room there."
                ),
            ),
        };
        let finding = Finding::new("lining-cuts", level, sentence);
        let finding = finding.measured(quads.len() as f64, Some(0.0));
        findings.push(quads.iter().take(PLACES).fold(finding, |finding, &id| {
            let at = self.surface.centre(id as usize).to_array();
            finding.at(Place::Face { id, at })
        }));
        Ok(findings)
    }
}

/// The vertices between the walls at each vertex of rims: those of end walls of trims where there
/// are any, and as many at the other vertices of the same rim; else a loop beside either corner.
fn rim_vertices(
    rims: &[[u32; 2]],
    seams: &[([u32; 3], f64)],
    behind: &[Option<u32>],
    positions: &mut Vec<DVec3>,
) -> BTreeMap<u32, Vec<Between>> {
    let mut found: BTreeMap<u32, Vec<Between>> = BTreeMap::new();
    let mut beside: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for &[w, v] in rims {
        beside.entry(w).or_default().push(v);
        beside.entry(v).or_default().push(w);
    }
    for &([id, outer, inner], share) in seams {
        if beside.contains_key(&outer) && behind[outer as usize] == Some(inner) {
            found.entry(outer).or_default().push(Between {
                id,
                share,
                is_lining: false,
            });
        }
    }
    for all in found.values_mut() {
        all.sort_by(|a, b| a.share.total_cmp(&b.share));
    }
    let starts: Vec<u32> = found.keys().chain(beside.keys()).copied().collect();
    for start in starts {
        let shares: Vec<f64> = match found.get(&start) {
            Some(all) => all.iter().map(|b| b.share).collect(),
            None => vec![CORNER, 1.0 - CORNER],
        };
        let mut waiting = vec![start];
        while let Some(v) = waiting.pop() {
            if v == start || !found.contains_key(&v) {
                found.entry(v).or_insert_with(|| {
                    let made = shares.iter().map(|&share| {
                        positions.push(DVec3::ZERO);
                        Between {
                            id: positions.len() as u32 - 1,
                            share,
                            is_lining: true,
                        }
                    });
                    made.collect()
                });
                let next = beside.get(&v).into_iter().flatten();
                waiting.extend(next.filter(|n| !found.contains_key(n)));
            }
        }
    }
    found
}

/// From each vertex to the parallel wall, for a thickness of 1: of a bent quad counts the plane at
/// the corner.
fn offsets(surface: &QuadMesh, positions: &[DVec3]) -> Vec<DVec3> {
    let mut planes: Vec<Vec<DVec3>> = vec![Vec::new(); positions.len()];
    for quad in &surface.quads {
        let p = quad.map(|v| positions[v as usize]);
        for i in 0..4 {
            let (ahead, back) = (p[(i + 1) % 4] - p[i], p[(i + 3) % 4] - p[i]);
            let normal = ahead.cross(back).normalize_or_zero();
            if normal != DVec3::ZERO {
                planes[quad[i] as usize].push(normal);
            }
        }
    }
    planes.iter().map(|p| parallel::offset(p)).collect()
}

/// The least local radius, and its vertex, if it is too little for a thickness.
fn tightest(surface: &QuadMesh, offsets: &[DVec3], asked: f64) -> Option<(f64, usize)> {
    // A ball that is too small holds nothing further away than its diameter.
    let reach = 2.0 * asked / SHARE;
    let cell = |p: DVec3| (p / reach).floor().to_array().map(|x| x as i64);
    let mut cells: BTreeMap<[i64; 3], Vec<u32>> = BTreeMap::new();
    for (v, &p) in (0u32..).zip(&surface.positions) {
        cells.entry(cell(p)).or_default().push(v);
    }
    let radius = |v: usize| {
        let at = surface.positions[v];
        let [x, y, z] = cell(at);
        let mut near = Vec::new();
        for i in -1..=1 {
            for j in -1..=1 {
                for k in -1..=1 {
                    near.extend(cells.get(&[x + i, y + j, z + k]).into_iter().flatten());
                }
            }
        }
        let others = near.into_iter().filter(|&&o| o as usize != v);
        let others = others.map(|&o| surface.positions[o as usize]);
        parallel::radius(at, offsets[v].normalize_or_zero(), others)
    };
    let all: Vec<f64> = (0..offsets.len()).into_par_iter().map(radius).collect();
    let least = all
        .into_iter()
        .zip(0..)
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    (asked > SHARE * least.0).then_some(least)
}

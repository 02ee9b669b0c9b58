//! Whether held quads are there bit for bit, and how far off the sculpt they lie.

use std::collections::{BTreeMap, BTreeSet};

use base::{Level, Place};
use mesh::{DVec3, QuadMesh};

use super::CheckInput;

/// What became of one hold.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Kept {
    pub name: String,
    /// Quads that it holds, those of the mirrored side not counted.
    pub held: usize,
    /// Those of them that the surface has, to the bit.
    pub kept: usize,
    /// Middles of held quads that are missing.
    pub missing: Vec<DVec3>,
    /// Greatest distance of a held vertex from the sculpt, model units, and where.
    pub off: (f64, DVec3),
    /// Mean length of its edges, model units.
    pub edge: f64,
}

/// The bits of a place; −0 and 0 are one.
fn bits(p: DVec3) -> [u64; 3] {
    (p + DVec3::ZERO).to_array().map(f64::to_bits)
}

/// A quad by its corners' bits from the least on, so that it may begin anywhere but must wind the
/// same way.
fn shape(mesh_positions: &[DVec3], quad: [u32; 4]) -> Option<[[u64; 3]; 4]> {
    let mut corners = [[0; 3]; 4];
    for (corner, v) in corners.iter_mut().zip(quad) {
        *corner = bits(*mesh_positions.get(v as usize)?);
    }
    let least = (0..4).min_by_key(|&i| corners[i])?;
    corners.rotate_left(least);
    Some(corners)
}

pub(super) fn measure(input: &CheckInput<'_>) -> Vec<Kept> {
    if input.holds.is_empty() {
        return Vec::new();
    }
    let QuadMesh {
        positions, quads, ..
    } = input.surface;
    let there: BTreeSet<_> = quads.iter().filter_map(|&q| shape(positions, q)).collect();
    let mut kept = Vec::new();
    for hold in input.holds {
        let at = |v: &u32| hold.positions.get(*v as usize).copied();
        let mut one = Kept {
            name: hold.name.clone(),
            held: hold.quads.len(),
            kept: 0,
            missing: Vec::new(),
            off: (0.0, DVec3::ZERO),
            edge: 0.0,
        };
        let mut lengths: BTreeMap<[u32; 2], f64> = BTreeMap::new();
        for quad in &hold.quads {
            if shape(&hold.positions, *quad).is_some_and(|s| there.contains(&s)) {
                one.kept += 1;
            } else {
                let sum: DVec3 = quad.iter().filter_map(at).sum();
                one.missing.push(sum / 4.0);
            }
            for i in 0..4 {
                let (a, b) = (quad[i], quad[(i + 1) % 4]);
                if let (Some(p), Some(q)) = (at(&a), at(&b)) {
                    lengths.insert([a.min(b), a.max(b)], p.distance(q));
                }
            }
        }
        one.edge = lengths.values().sum::<f64>() / lengths.len().max(1) as f64;
        for &p in &hold.positions {
            let off = input.sculpt.index.closest(p).map_or(0.0, |c| c.distance);
            if off > one.off.0 {
                one.off = (off, p);
            }
        }
        kept.push(one);
    }
    kept
}

/// Held vertices further off the sculpt than this are worth a look, in their edges.
const OFF: f64 = 0.3;

impl Kept {
    /// Says whether it was kept: sentences, places, and whether it lies off the sculpt.
    pub(super) fn says(&self) -> [String; 2] {
        let Self {
            name, held, kept, ..
        } = self;
        [
            format!("The {held} quads of hold '{name}' are there bit for bit."),
            format!("Of the {held} quads of hold '{name}' only {kept} are there bit for bit."),
        ]
    }

    pub(super) fn places(&self) -> Vec<Place> {
        let points = self
            .missing
            .iter()
            .map(|p| Place::Point { at: p.to_array() });
        points.collect()
    }

    /// Where and how far it lies off the sculpt, if that is worth a look.
    pub(super) fn off_sculpt(&self) -> Option<(Level, String, Place)> {
        let (off, at) = self.off;
        (off > OFF * self.edge).then(|| {
            let sentence = format!(
                "Hold '{}' lies up to {off:.3} off the sculpt, {:.1} of its edges: the sculpt changed there. It is kept as it was; release it to have it laid anew.",
                self.name,
                off / self.edge
            );
            (Level::Warn, sentence, Place::Point { at: at.to_array() })
        })
    }
}

//! From what the artist marked to whole quads that can be held.
//!
//! The rim should run along rows of quads: a stair of steps asks for a pole at each. So the marked
//! quads grow into the notches of their rim until none is left (as a figure grows into its
//! hull row by row), unless that more than doubles them. Quads that touch in a corner alone, and
//! pieces of the rest too small to be laid, are taken in.

use std::collections::BTreeSet;

use mesh::{DVec3, QuadMesh, QuadTopology};
use thiserror::Error;

use crate::model::{Hold, Plane};

/// Growing into notches may multiply the marked quads by this.
const MOST_GROWN: usize = 2;
/// Pieces of the rest with fewer quads are taken in: no room for rows and poles.
const LEAST_LEFT: usize = 16;
/// Vertices this near to the mirror plane lie on it, in edges.
const ON_PLANE: f64 = 1e-6;

/// What the artist marked.
#[derive(Clone, Debug, PartialEq)]
pub enum Region {
    /// Quads that hang together with the nearest one and have their middle within a distance.
    Around {
        /// The point, model units.
        at: DVec3,
        /// The distance, model units.
        reach: f64,
    },
    /// Quads of one of these groups of the surface.
    Groups(Vec<String>),
    /// These quads of the surface; numbers beyond it count for nothing.
    Quads(Vec<u32>),
}

/// Why a region can't be held.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum RegionError {
    /// The surface isn't one.
    #[error("the surface {0}, so nothing of it can be held")]
    Broken(&'static str),
    /// Nothing is marked.
    #[error("no quad has its middle within {reach} of ({:.2}, {:.2}, {:.2}); the nearest is {nearest:.3} away. Give a point on the surface or a longer reach", at[0], at[1], at[2])]
    Nothing {
        /// The point, model units.
        at: [f64; 3],
        /// The distance given, model units.
        reach: f64,
        /// Distance to the nearest quad's middle, model units.
        nearest: f64,
    },
    /// No quad is marked at all.
    #[error("no quad of the surface is marked. Mark those that are to stay as they are")]
    Unmarked,
    /// A group that isn't there.
    #[error("the surface has no group '{group}'. Its groups are {known}")]
    NoGroup {
        /// The group asked for.
        group: String,
        /// Those that are there.
        known: String,
    },
    /// Everything is marked.
    #[error(
        "that is the whole surface ({quads} quads): there would be nothing left to lay. Mark a smaller part"
    )]
    Everything {
        /// Quads marked, grown.
        quads: usize,
    },
}

/// The quads of a surface to hold under a name: those that are marked, grown until their rim can be
/// laid against. With a mirror plane a mark on either side counts for both, and those of the kept
/// half are held.
///
/// # Errors
/// [`RegionError`].
pub fn grow(
    surface: &QuadMesh,
    region: &Region,
    plane: Option<Plane>,
    name: &str,
) -> Result<Hold, RegionError> {
    let whole = Whole::new(surface, plane)?;
    let marked = whole.marked(region)?;
    let grown = whole.grown(marked);
    if grown.iter().zip(&whole.kept).all(|(g, k)| g == k) {
        let quads = grown.iter().filter(|&&g| g).count();
        return Err(RegionError::Everything { quads });
    }
    Ok(whole.hold(&grown, name))
}

struct Whole<'a> {
    surface: &'a QuadMesh,
    topology: QuadTopology,
    quads_at: Vec<Vec<u32>>,
    plane: Option<Plane>,
    /// Quads of the half that is computed.
    kept: Vec<bool>,
}

impl<'a> Whole<'a> {
    fn new(surface: &'a QuadMesh, plane: Option<Plane>) -> Result<Self, RegionError> {
        let vertices = surface.positions.len();
        let outside = |q: &[u32; 4]| q.iter().any(|&v| v as usize >= vertices);
        if surface.quads.is_empty() || surface.quads.iter().any(outside) {
            return Err(RegionError::Broken(
                "has no quads, or quads without corners",
            ));
        }
        let topology = surface.topology();
        if topology.face_count.iter().any(|&n| n > 2) || topology.inconsistent_edges > 0 {
            return Err(RegionError::Broken(
                "has an edge of more than two quads, or quads that wind against each other",
            ));
        }
        let mut quads_at: Vec<Vec<u32>> = vec![Vec::new(); vertices];
        for (q, corners) in surface.quads.iter().enumerate() {
            for &v in corners {
                quads_at[v as usize].push(q as u32);
            }
        }
        let front = |q: usize| plane.is_none_or(|plane| plane.height(surface.centre(q)) > 0.0);
        let kept = (0..surface.quads.len()).map(front).collect();
        Ok(Self {
            surface,
            topology,
            quads_at,
            plane,
            kept,
        })
    }

    fn neighbours(&self, quad: usize) -> impl Iterator<Item = usize> + '_ {
        let twins = (4 * quad..4 * quad + 4).filter_map(|c| self.topology.twin[c]);
        twins.map(|t| t as usize / 4).filter(|&q| self.kept[q])
    }

    fn marked(&self, region: &Region) -> Result<Vec<bool>, RegionError> {
        let count = self.surface.quads.len();
        match region {
            Region::Around { at, reach } => {
                let front = match self.plane {
                    Some(plane) if plane.height(*at) < 0.0 => plane.mirror(*at),
                    _ => *at,
                };
                let away = |q: usize| self.surface.centre(q).distance(front);
                let nearest = (0..count)
                    .filter(|&q| self.kept[q])
                    .min_by(|&a, &b| away(a).total_cmp(&away(b)));
                let nearest =
                    nearest.ok_or(RegionError::Broken("lies wholly behind the mirror plane"))?;
                if away(nearest) > *reach {
                    return Err(RegionError::Nothing {
                        at: at.to_array(),
                        reach: *reach,
                        nearest: away(nearest),
                    });
                }
                let mut marked = vec![false; count];
                marked[nearest] = true;
                let mut stack = vec![nearest];
                while let Some(q) = stack.pop() {
                    for next in self.neighbours(q) {
                        if !marked[next] && away(next) <= *reach {
                            marked[next] = true;
                            stack.push(next);
                        }
                    }
                }
                Ok(marked)
            }
            Region::Groups(names) => {
                let mut marked = vec![false; count];
                for name in names {
                    let groups: Vec<_> = self
                        .surface
                        .groups
                        .iter()
                        .filter(|g| g.name == *name)
                        .collect();
                    if groups.is_empty() {
                        let all = self.surface.groups.iter().map(|g| format!("'{}'", g.name));
                        return Err(RegionError::NoGroup {
                            group: name.clone(),
                            known: all.collect::<Vec<_>>().join(", "),
                        });
                    }
                    for &q in groups.iter().flat_map(|g| &g.quads) {
                        if let Some(mark) = marked.get_mut(q as usize) {
                            *mark = true;
                        }
                    }
                }
                self.mirrored_too(&mut marked);
                Ok(marked)
            }
            Region::Quads(quads) => {
                let mut marked = vec![false; count];
                for &q in quads {
                    if let Some(mark) = marked.get_mut(q as usize) {
                        *mark = true;
                    }
                }
                self.mirrored_too(&mut marked);
                if marked.contains(&true) {
                    Ok(marked)
                } else {
                    Err(RegionError::Unmarked)
                }
            }
        }
    }

    /// Marks the images of marked quads behind the plane, and leaves those unmarked.
    fn mirrored_too(&self, marked: &mut [bool]) {
        let Some(plane) = self.plane else {
            return;
        };
        let behind: Vec<usize> = (0..marked.len())
            .filter(|&q| marked[q] && !self.kept[q])
            .collect();
        for q in behind {
            marked[q] = false;
            let image = plane.mirror(self.surface.centre(q));
            let away = |q: usize| self.surface.centre(q).distance_squared(image);
            let nearest = (0..marked.len())
                .filter(|&q| self.kept[q])
                .min_by(|&a, &b| away(a).total_cmp(&away(b)));
            if let Some(nearest) = nearest {
                marked[nearest] = true;
            }
        }
    }

    /// Grows the marked quads until the rim is fit.
    fn grown(&self, marked: Vec<bool>) -> Vec<bool> {
        let most = MOST_GROWN * marked.iter().filter(|&&m| m).count();
        let plain = self.closed(marked.clone(), usize::MAX, false);
        self.closed(marked, most, true)
            .or(plain)
            .unwrap_or_else(|| self.kept.clone())
    }

    /// Takes quads in until nothing touches in a corner alone, nothing left is too small, and, if
    /// asked, no notch is left; none if there are more than `most` then.
    fn closed(&self, mut held: Vec<bool>, most: usize, notches: bool) -> Option<Vec<bool>> {
        loop {
            let before = held.iter().filter(|&&h| h).count();
            if before > most {
                return None;
            }
            for around in &self.quads_at {
                let mine: Vec<usize> = around.iter().map(|&q| q as usize).collect();
                let mine: Vec<usize> = mine.into_iter().filter(|&q| self.kept[q]).collect();
                let count = mine.iter().filter(|&&q| held[q]).count();
                let notch = notches && count >= 2 && count + 1 == mine.len() && mine.len() > 2;
                if count > 0 && count < mine.len() && (notch || !self.hangs_together(&mine, &held))
                {
                    mine.iter().for_each(|&q| held[q] = true);
                }
            }
            self.take_crumbs(&mut held);
            if held.iter().filter(|&&h| h).count() == before {
                return Some(held);
            }
        }
    }

    /// Whether the held ones of the quads at a vertex are joined by edges there.
    fn hangs_together(&self, around: &[usize], held: &[bool]) -> bool {
        let mine: BTreeSet<usize> = around.iter().copied().filter(|&q| held[q]).collect();
        let Some(&first) = mine.first() else {
            return true;
        };
        let mut seen = BTreeSet::from([first]);
        let mut stack = vec![first];
        while let Some(q) = stack.pop() {
            for next in self.neighbours(q).filter(|n| mine.contains(n)) {
                if seen.insert(next) {
                    stack.push(next);
                }
            }
        }
        seen.len() == mine.len()
    }

    fn take_crumbs(&self, held: &mut [bool]) {
        let mut seen = held.to_vec();
        for start in 0..held.len() {
            if seen[start] || !self.kept[start] {
                continue;
            }
            seen[start] = true;
            let mut piece = vec![start];
            let mut i = 0;
            while i < piece.len() {
                for next in self.neighbours(piece[i]) {
                    if !seen[next] {
                        seen[next] = true;
                        piece.push(next);
                    }
                }
                i += 1;
            }
            let beside = piece
                .iter()
                .any(|&q| self.neighbours(q).any(|next| held[next]));
            if piece.len() < LEAST_LEFT && beside {
                piece.iter().for_each(|&q| held[q] = true);
            }
        }
    }

    fn hold(&self, held: &[bool], name: &str) -> Hold {
        let mut ids = vec![None; self.surface.positions.len()];
        let mut hold = Hold {
            name: name.to_owned(),
            ..Hold::default()
        };
        let edges = self.topology.edges.iter();
        let sum: f64 = edges
            .map(|&[a, b]| {
                let [a, b] = [a, b].map(|v| self.surface.positions[v as usize]);
                a.distance(b)
            })
            .sum();
        let near = ON_PLANE * sum / self.topology.edges.len().max(1) as f64;
        let on_plane = |v: u32| {
            let at = self.surface.positions[v as usize];
            self.plane
                .is_some_and(|plane| plane.height(at).abs() <= near)
        };
        for (q, quad) in self
            .surface
            .quads
            .iter()
            .enumerate()
            .filter(|&(q, _)| held[q])
        {
            let corners = quad.map(|v| {
                *ids[v as usize].get_or_insert_with(|| {
                    hold.positions.push(self.surface.positions[v as usize]);
                    hold.positions.len() as u32 - 1
                })
            });
            hold.quads.push(corners);
            for i in 0..4 {
                let twin = self.topology.twin[4 * q + i].map(|t| t as usize / 4);
                let (a, b) = (quad[i], quad[(i + 1) % 4]);
                let goes_on = twin.is_some_and(|t| !held[t]) && !(on_plane(a) && on_plane(b));
                if goes_on {
                    hold.rim.push([corners[i], corners[(i + 1) % 4]]);
                }
            }
        }
        hold
    }
}

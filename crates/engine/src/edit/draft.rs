//! The surface while it is edited: the computed half, with what is known of its parts.

use std::collections::BTreeMap;

use mesh::{DVec3, Group, QuadMesh};

use super::fault::EditFault;
use crate::assemble::{self, Assembled, Parts, Pole};
use crate::conform::rails::{self, Rail, Seat};
use crate::fill::Origin;
use crate::layout::ArcSource;
use crate::model::{ChainSource, CurveEnd, GuideKind, Plane, Sculpt};

/// What ties a vertex.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tie {
    /// Nothing: anywhere on the sculpt.
    Free,
    /// It slides along a run.
    Run(usize),
    /// Runs meet, end or turn there.
    Fixed,
}

/// What a run of edges stands for.
#[derive(Clone, Debug)]
pub(super) struct Run {
    /// The curve that it follows.
    pub rail: Rail,
    /// Name for messages: the guide's, in quotes, or "the centre line".
    pub name: String,
    /// Guides of the job, with the edges that each has for one edge of the half: two where the
    /// guide crosses the mirror plane.
    pub guides: Vec<(usize, i64)>,
}

/// The half that is edited.
#[derive(Clone, Debug)]
pub(super) struct Draft<'a> {
    pub mesh: QuadMesh,
    /// What is known of each quad.
    pub quads: Vec<QuadTag>,
    pub ties: Vec<Tie>,
    /// Why a vertex is a pole, if it is one.
    pub reasons: Vec<Option<String>>,
    pub runs: Vec<Run>,
    /// Runs that have an edge, both by index; ends of edges in rising order.
    pub runs_of_edge: BTreeMap<[u32; 2], Vec<usize>>,
    pub sculpt: &'a Sculpt,
    pub plane: Option<Plane>,
    /// Edge length of the quads, model units.
    pub edge: f64,
    group_names: Vec<String>,
    /// Patches from this one on are held quads.
    first_held: u32,
    /// Names of the holds.
    holds: Vec<String>,
}

/// Where a quad belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct QuadTag {
    pub patch: u32,
    /// Group of the quad and of its mirror image.
    pub groups: [Option<usize>; 2],
}

pub(super) fn key(a: u32, b: u32) -> [u32; 2] {
    [a.min(b), a.max(b)]
}

impl<'a> Draft<'a> {
    pub fn new(parts: &Parts<'a>, whole: &Assembled) -> Self {
        let half = parts.half;
        let n = half.quads.len();
        let mut quads: Vec<QuadTag> = whole
            .patch_of_quad
            .iter()
            .take(n)
            .map(|&patch| QuadTag {
                patch,
                groups: [None; 2],
            })
            .collect();
        for (g, group) in whole.mesh.groups.iter().enumerate() {
            for q in group.quads.iter().map(|&q| q as usize) {
                quads[q % n].groups[q / n] = Some(g);
            }
        }
        let mut reasons = vec![None; half.positions.len()];
        for pole in &whole.poles {
            // Vertices of the half come first, in its order.
            if let Some(reason) = reasons.get_mut(pole.vertex as usize) {
                *reason = Some(pole.reason.clone());
            }
        }
        let (rails, seats) = rails::seats_of(
            parts.filled,
            parts.surface,
            parts.layout,
            parts.curves,
            parts.plane,
        );
        let ties = seats
            .iter()
            .map(|seat| match *seat {
                Seat::Free => Tie::Free,
                Seat::On { rail, .. } => Tie::Run(rail),
                Seat::Pinned => Tie::Fixed,
            })
            .collect();
        Self {
            mesh: QuadMesh {
                positions: half.positions.clone(),
                quads: half.quads.clone(),
                groups: Vec::new(),
            },
            quads,
            ties,
            reasons,
            runs: runs_of(parts, rails),
            runs_of_edge: edges_of_runs(parts),
            sculpt: parts.sculpt,
            plane: parts.plane,
            edge: parts.edge,
            group_names: whole.mesh.groups.iter().map(|g| g.name.clone()).collect(),
            first_held: parts.layout.patches.len() as u32,
            holds: parts
                .guides
                .iter()
                .filter(|g| g.kind == GuideKind::Hold)
                .map(|g| g.name.clone())
                .collect(),
        }
    }

    /// A draft of a mesh of which nothing is known.
    #[cfg(test)]
    pub fn bare(mesh: QuadMesh, sculpt: &'a Sculpt, edge: f64) -> Self {
        let (quads, vertices) = (mesh.quads.len(), mesh.positions.len());
        let tag = QuadTag {
            patch: 0,
            groups: [Some(0), None],
        };
        Self {
            mesh,
            quads: vec![tag; quads],
            ties: vec![Tie::Free; vertices],
            reasons: vec![None; vertices],
            runs: Vec::new(),
            runs_of_edge: BTreeMap::new(),
            sculpt,
            plane: None,
            edge,
            group_names: vec!["surface".to_owned()],
            first_held: u32::MAX,
            holds: Vec::new(),
        }
    }

    /// Whether anything of it is held.
    pub fn has_held(&self) -> bool {
        !self.holds.is_empty()
    }

    /// Held quads in order, each with its hold's name and its corners.
    fn held(&self) -> impl Iterator<Item = (&str, [DVec3; 4])> {
        let quads = self.quads.iter().zip(&self.mesh.quads);
        quads.filter_map(|(tag, quad)| {
            let corners = quad.map(|v| self.mesh.positions[v as usize]);
            Some((self.hold_of(tag.patch)?, corners))
        })
    }

    /// The first hold of which a quad isn't what it was in another draft.
    pub fn held_changed(&self, before: &Self) -> Option<String> {
        let (mut now, mut then) = (self.held(), before.held());
        loop {
            match (now.next(), then.next()) {
                (None, None) => return None,
                (a, b) if a == b => {}
                (a, b) => return b.or(a).map(|(name, _)| name.to_owned()),
            }
        }
    }

    /// Runs that have an edge.
    pub fn runs_on(&self, a: u32, b: u32) -> &[usize] {
        self.runs_of_edge.get(&key(a, b)).map_or(&[], Vec::as_slice)
    }

    /// Names of runs, each once, in the order of the runs.
    pub fn names(&self, mut runs: Vec<usize>) -> String {
        runs.sort_unstable();
        let mut names: Vec<&str> = Vec::new();
        for run in runs {
            let name = self.runs[run].name.as_str();
            if !names.contains(&name) {
                names.push(name);
            }
        }
        names.join(" and ")
    }

    /// Why a vertex may not move.
    pub fn tied(&self, vertex: u32) -> EditFault {
        let quads = self.quads.iter().zip(&self.mesh.quads);
        let mut at = quads.filter(|(_, quad)| quad.contains(&vertex));
        let hold = at.find_map(|(tag, _)| self.hold_of(tag.patch));
        match hold {
            Some(rim) => EditFault::InHold {
                rim: rim.to_owned(),
            },
            None => EditFault::Held {
                names: self.names(self.runs_at(vertex)),
            },
        }
    }

    /// Name of the hold that a patch stands for.
    fn hold_of(&self, patch: u32) -> Option<&str> {
        let hold = patch.checked_sub(self.first_held)?;
        self.holds.get(hold as usize).map(String::as_str)
    }

    /// Runs that have an edge at a vertex.
    pub fn runs_at(&self, vertex: u32) -> Vec<usize> {
        let at = self
            .runs_of_edge
            .iter()
            .filter(|(e, _)| e.contains(&vertex));
        at.flat_map(|(_, runs)| runs.iter().copied()).collect()
    }

    /// Edges that guides gain where so many edges of each of these runs are added.
    pub fn counts(&self, edges: &BTreeMap<usize, i64>) -> Vec<(usize, i64)> {
        let mut counts: BTreeMap<usize, i64> = BTreeMap::new();
        for (&run, &difference) in edges {
            for &(guide, each) in &self.runs[run].guides {
                *counts.entry(guide).or_default() += each * difference;
            }
        }
        counts.into_iter().filter(|c| c.1 != 0).collect()
    }

    /// The whole surface from the edited half.
    pub fn finish(&self, parts: &Parts<'_>) -> Assembled {
        let n = self.mesh.quads.len();
        let mut mesh = self.mesh.clone();
        let mut half_of_vertex: Vec<u32> = (0..mesh.positions.len() as u32).collect();
        let mut patch_of_quad: Vec<u32> = self.quads.iter().map(|q| q.patch).collect();
        if let Some(plane) = self.plane {
            let image = |at| parts.image(plane, at);
            (mesh, half_of_vertex) = assemble::doubled(&self.mesh, plane, self.edge, image);
            patch_of_quad.extend_from_within(..);
        }
        let copies = if self.plane.is_some() { 2 } else { 1 };
        let members = |g: usize| {
            (0..copies).flat_map(move |copy| {
                (0..n)
                    .filter(move |&q| self.quads[q].groups[copy] == Some(g))
                    .map(move |q| (q + copy * n) as u32)
            })
        };
        mesh.groups = (0..self.group_names.len())
            .map(|g| Group {
                name: self.group_names[g].clone(),
                quads: members(g).collect(),
            })
            .collect();
        let topology = mesh.topology();
        let poles = topology
            .poles()
            .into_iter()
            .map(|vertex| Pole {
                vertex,
                valence: topology.valence[vertex as usize],
                reason: self.reasons[half_of_vertex[vertex as usize] as usize]
                    .clone()
                    .unwrap_or_else(|| "pole: an edit was played here".to_owned()),
            })
            .collect();
        Assembled {
            mesh,
            patch_of_quad,
            poles,
        }
    }
}

/// One run a chain.
fn runs_of(parts: &Parts<'_>, rails: Vec<Rail>) -> Vec<Run> {
    let chains = parts.surface.chains.iter();
    chains
        .zip(rails)
        .map(|(chain, rail)| match chain.source {
            ChainSource::Curve(c) => {
                let curve = &parts.curves[c];
                let crosses = !curve.closed && curve.ends.contains(&CurveEnd::Plane);
                let each = if crosses { 2 } else { 1 };
                let names: Vec<String> = curve
                    .guides
                    .iter()
                    .map(|&g| format!("'{}'", parts.guides[g].name))
                    .collect();
                Run {
                    rail,
                    name: format!("guide {}", names.join(" and ")),
                    guides: curve.guides.iter().map(|&g| (g, each)).collect(),
                }
            }
            ChainSource::Plane => Run {
                rail,
                name: "the centre line".to_owned(),
                guides: Vec::new(),
            },
            ChainSource::Boundary => Run {
                rail,
                name: "the sculpt's edge".to_owned(),
                guides: Vec::new(),
            },
        })
        .collect()
}

/// The quads' edges along every arc that is a piece of a chain.
fn edges_of_runs(parts: &Parts<'_>) -> BTreeMap<[u32; 2], Vec<usize>> {
    let mut node: BTreeMap<u32, u32> = BTreeMap::new();
    let mut inner: BTreeMap<(usize, u32), u32> = BTreeMap::new();
    for (v, origin) in parts.filled.origin.iter().enumerate() {
        match *origin {
            Origin::Node { vertex } => drop(node.insert(vertex, v as u32)),
            Origin::Arc { arc, step } => drop(inner.insert((arc, step), v as u32)),
            Origin::Inside { .. } | Origin::Held { .. } => {}
        }
    }
    let mut edges: BTreeMap<[u32; 2], Vec<usize>> = BTreeMap::new();
    for (a, arc) in parts.layout.arcs.iter().enumerate() {
        let ArcSource::Chain(chain) = arc.source else {
            continue;
        };
        let count = parts.plan.arcs[a];
        let at = |step: u32| match step {
            0 => arc.vertices.first().and_then(|v| node.get(v)),
            s if s == count => arc.vertices.last().and_then(|v| node.get(v)),
            s => inner.get(&(a, s)),
        };
        for step in 0..count {
            if let (Some(&one), Some(&two)) = (at(step), at(step + 1)) {
                edges.entry(key(one, two)).or_default().push(chain);
            }
        }
    }
    edges
}

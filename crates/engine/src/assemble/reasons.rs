//! Why each pole is where it is.

use std::collections::BTreeSet;

use mesh::{DVec3, QuadMesh};

use super::Parts;
use super::whereabouts::{Shape, told_apart};
use crate::fill::Origin;
use crate::layout::ArcSource;
use crate::model::{ChainSource, GuideKind};

/// A pole of the finished surface.
#[derive(Clone, Debug, PartialEq)]
pub struct Pole {
    /// Vertex of the whole mesh.
    pub vertex: u32,
    /// Edges that meet there.
    pub valence: u32,
    /// A plain sentence.
    pub reason: String,
}

/// Poles of the whole mesh with their reasons, by vertex; no two reasons are alike.
pub(super) fn of_poles(parts: &Parts<'_>, mesh: &QuadMesh, half_of_vertex: &[u32]) -> Vec<Pole> {
    let topology = mesh.topology();
    let poles = topology.poles();
    if poles.is_empty() {
        return Vec::new();
    }
    let shape = Shape::of(mesh, &topology, parts.guides, parts.plane, parts.edge);
    let reason = |&vertex: &u32| {
        let valence = topology.valence[vertex as usize];
        let origin = parts.filled.origin[half_of_vertex[vertex as usize] as usize];
        let why = reason(parts, &shape, vertex, origin, valence);
        let text = format!("{why}; {}", shape.place(vertex));
        (text, mesh.positions[vertex as usize])
    };
    let reasons: Vec<(String, DVec3)> = poles.iter().map(reason).collect();
    let reasons = told_apart(&reasons).into_iter();
    let pole = |(vertex, reason): (u32, String)| Pole {
        vertex,
        valence: topology.valence[vertex as usize],
        reason,
    };
    poles.into_iter().zip(reasons).map(pole).collect()
}

fn reason(
    parts: &Parts<'_>,
    shape: &Shape<'_>,
    vertex: u32,
    origin: Origin,
    valence: u32,
) -> String {
    let named = |patches: &[usize]| names(parts, patches);
    let names = |patches: &[usize]| named(patches).unwrap_or_else(|| flows(shape, vertex));
    let word = match valence {
        3 => "three",
        5 => "five",
        6 => "six",
        _ => "unusual valence",
    };
    match origin {
        Origin::Inside { patch } if parts.plan.surplus[patch] != [0, 0] => {
            format!(
                "pole of {word}: the counts of {} differ here",
                names(&[patch])
            )
        }
        Origin::Inside { patch } => {
            let sides = parts.layout.patches[patch].sides.len();
            match named(&[patch]) {
                Some(names) => {
                    format!("pole of {word}: {sides} flows meet here, between {names}")
                }
                None => format!("pole of {word}: {sides} {} meet here", flows(shape, vertex)),
            }
        }
        Origin::Held { hold } => {
            let holds = parts.guides.iter().filter(|g| g.kind == GuideKind::Hold);
            let name = holds.map(|g| g.name.as_str()).nth(hold).unwrap_or_default();
            format!("pole of {word}: held, within the {name}")
        }
        Origin::Arc { arc, .. } => {
            let beside: Vec<usize> = (0..parts.layout.patches.len())
                .filter(|&p| {
                    parts.layout.patches[p]
                        .sides
                        .iter()
                        .flatten()
                        .any(|u| u.arc == arc)
                })
                .collect();
            format!(
                "pole of {word}: the counts of {} differ here",
                names(&beside)
            )
        }
        Origin::Node { vertex: node } => {
            let mut met = BTreeSet::new();
            for chain in &parts.surface.chains {
                if let ChainSource::Curve(c) = chain.source
                    && chain.vertices.contains(&node)
                {
                    met.extend(
                        parts.curves[c]
                            .guides
                            .iter()
                            .map(|&g| parts.guides[g].name.clone()),
                    );
                }
            }
            if met.is_empty() {
                format!("pole of {word}: {} meet here", flows(shape, vertex))
            } else {
                let list: Vec<String> = met.iter().map(|n| format!("'{n}'")).collect();
                format!("pole of {word}: {} meet or turn here", list.join(", "))
            }
        }
    }
}

/// Where the flows at a pole come from, for places that no guide is near.
fn flows(shape: &Shape<'_>, vertex: u32) -> String {
    let from = shape.flows_at(vertex);
    if from.is_empty() {
        return "flows of the shape itself".to_owned();
    }
    format!("flows from {}", from.join(", "))
}

/// Names of the guides along the sides of patches, if there are any.
fn names(parts: &Parts<'_>, patches: &[usize]) -> Option<String> {
    let mut found = BTreeSet::new();
    for &p in patches {
        for used in parts.layout.patches[p].sides.iter().flatten() {
            if let ArcSource::Chain(c) = parts.layout.arcs[used.arc].source {
                match parts.surface.chains[c].source {
                    ChainSource::Curve(curve) => {
                        found.extend(
                            parts.curves[curve]
                                .guides
                                .iter()
                                .map(|&g| format!("'{}'", parts.guides[g].name)),
                        );
                    }
                    ChainSource::Plane => {
                        found.insert("the centre line".to_owned());
                    }
                    ChainSource::Boundary => {
                        found.insert("the sculpt's edge".to_owned());
                    }
                }
            }
        }
    }
    (!found.is_empty()).then(|| found.into_iter().collect::<Vec<_>>().join(", "))
}

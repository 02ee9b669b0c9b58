//! Why each pole is where it is.

use std::collections::BTreeSet;

use mesh::QuadMesh;

use super::Parts;
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

/// Poles of the whole mesh with their reasons, by vertex.
pub(super) fn of_poles(parts: &Parts<'_>, mesh: &QuadMesh, half_of_vertex: &[u32]) -> Vec<Pole> {
    let topology = mesh.topology();
    topology
        .poles()
        .into_iter()
        .map(|vertex| {
            let valence = topology.valence[vertex as usize];
            let origin = parts.filled.origin[half_of_vertex[vertex as usize] as usize];
            Pole {
                vertex,
                valence,
                reason: reason(parts, origin, valence),
            }
        })
        .collect()
}

fn reason(parts: &Parts<'_>, origin: Origin, valence: u32) -> String {
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
                names(parts, &[patch])
            )
        }
        Origin::Inside { patch } => {
            let sides = parts.layout.patches[patch].sides.len();
            format!(
                "pole of {word}: {sides} flows meet here, between {}",
                names(parts, &[patch])
            )
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
                names(parts, &beside)
            )
        }
        Origin::Node { vertex } => {
            let mut met = BTreeSet::new();
            for chain in &parts.surface.chains {
                if let ChainSource::Curve(c) = chain.source
                    && chain.vertices.contains(&vertex)
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
                format!("pole of {word}: curves of the layout meet here")
            } else {
                let list: Vec<String> = met.iter().map(|n| format!("'{n}'")).collect();
                format!("pole of {word}: {} meet or turn here", list.join(", "))
            }
        }
    }
}

/// Names of the guides along the sides of patches.
fn names(parts: &Parts<'_>, patches: &[usize]) -> String {
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
    if found.is_empty() {
        return "flows of the shape itself".to_owned();
    }
    found.into_iter().collect::<Vec<_>>().join(", ")
}

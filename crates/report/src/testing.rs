//! Shapes for tests.

use std::f64::consts::{PI, TAU};
use std::sync::Arc;

use base::{Finding, Findings, Level, Place};
use mesh::{DVec3, QuadMesh, SurfaceIndex, TriMesh};

use crate::{GuideView, PoleView, ReportInput, StageView, Table};

/// A sphere of radius 1, facing out.
pub(crate) fn sphere(around: u32, along: u32) -> TriMesh {
    let mut mesh = TriMesh::default();
    for j in 0..=along {
        for i in 0..around {
            let (u, v) = (
                f64::from(i) / f64::from(around) * TAU,
                f64::from(j) / f64::from(along) * PI,
            );
            let radius = if j == 0 || j == along { 0.0 } else { v.sin() };
            mesh.positions
                .push(DVec3::new(radius * u.sin(), v.cos(), radius * u.cos()).as_vec3());
        }
    }
    for j in 0..along {
        for i in 0..around {
            let at = |i: u32, j: u32| j * around + i % around;
            mesh.triangles
                .push([at(i, j), at(i, j + 1), at(i + 1, j + 1)]);
            mesh.triangles
                .push([at(i, j), at(i + 1, j + 1), at(i + 1, j)]);
        }
    }
    mesh
}

/// A cube of `n` × `n` quads a side, blown up to radius 1: eight poles of valence three.
pub(crate) fn ball(n: u32) -> QuadMesh {
    let mut mesh = QuadMesh::default();
    let mut index = std::collections::BTreeMap::new();
    for axis in 0..3 {
        for sign in [-1i64, 1] {
            for j in 0..n {
                for i in 0..n {
                    let corner = |di: u32, dj: u32| {
                        let mut at = [0i64; 3];
                        at[axis] = sign * i64::from(n);
                        at[(axis + 1) % 3] = 2 * i64::from(i + di) - i64::from(n);
                        at[(axis + 2) % 3] = 2 * i64::from(j + dj) - i64::from(n);
                        at
                    };
                    let mut quad =
                        [corner(0, 0), corner(1, 0), corner(1, 1), corner(0, 1)].map(|at| {
                            *index.entry(at).or_insert_with(|| {
                                let p = at.map(|v| (v as f64 / f64::from(n) * PI / 4.0).tan());
                                mesh.positions.push(DVec3::from(p).normalize());
                                mesh.positions.len() as u32 - 1
                            })
                        });
                    if sign < 0 {
                        quad.reverse();
                    }
                    mesh.quads.push(quad);
                }
            }
        }
    }
    mesh
}

/// An upright open tube of radius 0.5 and height 2, twisted by `twist` radians a row.
pub(crate) fn tube(around: u32, along: u32, twist: f64) -> QuadMesh {
    let at = |i: u32, j: u32| j * around + i % around;
    let positions = (0..=along)
        .flat_map(|j| {
            (0..around).map(move |i| {
                let angle = f64::from(i) / f64::from(around) * TAU + twist * f64::from(j);
                DVec3::new(
                    0.5 * angle.sin(),
                    2.0 * f64::from(j) / f64::from(along) - 1.0,
                    0.5 * angle.cos(),
                )
            })
        })
        .collect();
    let quads = (0..along)
        .flat_map(|j| {
            (0..around).map(move |i| [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)])
        })
        .collect();
    QuadMesh {
        positions,
        quads,
        groups: vec![],
    }
}

/// Owned parts of an input: a ball on a sphere, with one of everything.
pub(crate) struct Sample {
    pub sculpt: SurfaceIndex,
    pub surface: QuadMesh,
    pub guides: Vec<GuideView>,
    pub poles: Vec<PoleView>,
    pub patches: Vec<u32>,
    pub findings: Findings,
    pub stages: Vec<StageView>,
    pub tables: Vec<Table>,
    pub title: String,
    pub job: String,
    pub px: u32,
}

impl Sample {
    pub fn new(px: u32) -> Self {
        let surface = ball(6);
        let circle = |height: f64| -> Vec<DVec3> {
            let radius = (1.0 - height * height).sqrt();
            (0..24)
                .map(|i| f64::from(i) / 24.0 * TAU)
                .map(|a| DVec3::new(radius * a.sin(), height, radius * a.cos()))
                .collect()
        };
        let guide = |name: &str, kind: &str, closed, points| GuideView {
            name: name.into(),
            kind: kind.into(),
            closed,
            points,
        };
        let topology = surface.topology();
        let poles = topology
            .poles()
            .into_iter()
            .map(|vertex| PoleView {
                vertex,
                valence: topology.valence[vertex as usize],
                reason: "three sides of the cube meet".into(),
            })
            .collect();
        let mut findings = Findings::default();
        findings.push(Finding::new(
            "quads-only",
            Level::Pass,
            "All faces are quads.",
        ));
        let at = surface.positions[0].to_array();
        findings.push(
            Finding::new("longest-side", Level::Fail, "A quad is too long.")
                .measured(3.5, Some(3.0))
                .at(Place::Vertex { id: 0, at }),
        );
        Self {
            sculpt: SurfaceIndex::new(Arc::new(sphere(64, 32))),
            patches: (0..surface.quads.len() as u32).map(|q| q / 36).collect(),
            guides: vec![
                guide("hat band", "ring", true, circle(0.3)),
                guide("brim", "opening", true, circle(-0.4)),
                guide(
                    "front seam",
                    "line",
                    false,
                    vec![
                        DVec3::new(0.0, 0.95, 0.3),
                        DVec3::Z,
                        DVec3::new(0.0, -0.8, 0.6),
                    ],
                ),
            ],
            poles,
            findings,
            stages: vec![StageView {
                name: "work".into(),
                seconds: 1.25,
                peak_mb: 80.0,
            }],
            tables: vec![Table {
                title: "Guides".into(),
                headings: vec!["guide".into(), "quads".into()],
                rows: vec![vec!["hat band".into(), "24".into()]],
            }],
            title: "keeper's hat".into(),
            job: "job = 1\n".into(),
            surface,
            px,
        }
    }

    pub fn input(&self) -> ReportInput<'_> {
        ReportInput {
            title: &self.title,
            sculpt: &self.sculpt,
            surface: &self.surface,
            guides: &self.guides,
            poles: &self.poles,
            patch_of_quad: &self.patches,
            trims: &[],
            layers: None,
            findings: &self.findings,
            stages: &self.stages,
            tables: &self.tables,
            job_text: &self.job,
            picture_px: self.px,
        }
    }
}

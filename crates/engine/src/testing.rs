//! The stages from symmetry to assembled surface on small sculpts made by formula, run once
//! a test process: what the tests of the later stages read.

use std::sync::LazyLock;

use base::{Findings, Task};
use mesh::{DVec3, QuadMesh, TriMesh};

use crate::assemble::{self, Assembled, Parts, Sides};
use crate::conform::{self, ConformOptions};
use crate::field::{self, Field, FieldOptions};
use crate::fill::{self, Filled};
use crate::guides::{self, GuideOptions};
use crate::intent::Aims;
use crate::layout::{self, Layout, LayoutError, LayoutOptions};
use crate::model::{Curve, Guide, GuideKind, Plane, Sculpt, WorkSurface};
use crate::quantise::{self, Plan, QuantiseError, QuantiseOptions};
use crate::symmetry::fixtures::{grid, line, ring, sculpt_of, tube};
use crate::symmetry::{self, PlaneChoice};
use crate::work::{self, WorkOptions};

/// The plane x = 0, its kept half towards +x.
pub(crate) const X: Plane = Plane {
    origin: DVec3::ZERO,
    normal: DVec3::X,
};

/// What goes in.
#[derive(Clone)]
pub(crate) struct Case {
    pub name: &'static str,
    pub sculpt: Sculpt,
    pub guides: Vec<Guide>,
    pub plane: PlaneChoice,
    /// Edge length of the quads, model units.
    pub edge: f64,
    /// Faces of the work surface.
    pub faces: Option<usize>,
}

/// Work surface, field and layout of a case.
pub(crate) struct Laid {
    pub plane: Option<Plane>,
    pub curves: Vec<Curve>,
    pub surface: WorkSurface,
    pub field: Field,
    pub layout: Layout,
}

/// A case with what every stage made of it.
pub(crate) struct Made {
    pub case: Case,
    pub laid: Laid,
    pub plan: Plan,
    pub plan_findings: Findings,
    pub filled: Filled,
    pub placed: QuadMesh,
    pub whole: Assembled,
}

impl Case {
    /// Work surface and field.
    pub fn with_field(&self) -> (Option<Plane>, Vec<Curve>, WorkSurface, Field) {
        let task = Task::default();
        let (half, _) = symmetry::run(&self.sculpt, self.plane, &task).unwrap();
        let options = GuideOptions::for_edge(self.edge);
        let (curves, _) =
            guides::run(&self.guides, &self.sculpt, half.plane, &options, &task).unwrap();
        let options = WorkOptions::for_edge(self.edge);
        let (surface, _) = work::run(&half, &self.sculpt, &curves, &options, &task).unwrap();
        let (field, _) = field::run(
            &surface,
            &Aims::none(surface.positions.len()),
            &FieldOptions::default(),
            &task,
        )
        .unwrap();
        (half.plane, curves.curves, surface, field)
    }

    pub fn laid(&self) -> Result<Laid, LayoutError> {
        let (plane, curves, surface, field) = self.with_field();
        let options = LayoutOptions::for_edge(self.edge);
        let (layout, _) = layout::run(
            &surface,
            &field,
            &curves,
            &Aims::none(surface.positions.len()),
            &options,
            &Task::default(),
        )?;
        Ok(Laid {
            plane,
            curves,
            surface,
            field,
            layout,
        })
    }

    pub fn planned(&self, laid: &Laid) -> Result<(Plan, Findings), QuantiseError> {
        let options = QuantiseOptions::new(self.edge, self.faces);
        quantise::run(
            &laid.surface,
            &laid.layout,
            &laid.curves,
            &self.guides,
            &options,
            &Task::default(),
        )
    }

    pub fn made(self) -> Made {
        let task = Task::default();
        let laid = self.laid().unwrap();
        let (plan, plan_findings) = self.planned(&laid).unwrap();
        let (filled, _) = fill::run(
            &laid.surface,
            &laid.field,
            &laid.layout,
            &plan,
            fill::Start::Squarest,
            &task,
        )
        .unwrap();
        let options = ConformOptions::for_edge(self.edge);
        let Laid {
            plane,
            curves,
            surface,
            field,
            layout,
        } = &laid;
        let (placed, _) = conform::run(
            &filled,
            surface,
            field,
            layout,
            curves,
            (&self.sculpt).into(),
            *plane,
            &options,
            &task,
        )
        .unwrap();
        let whole = assemble::run(&Parts {
            half: &placed,
            filled: &filled,
            surface,
            layout,
            plan: &plan,
            curves,
            guides: &self.guides,
            sculpt: &self.sculpt,
            plane: *plane,
            sides: Sides::Mirror,
            edge: self.edge,
        });
        Made {
            case: self,
            laid,
            plan,
            plan_findings,
            filled,
            placed,
            whole,
        }
    }
}

/// A guide with a promised count.
pub(crate) fn counted(mut guide: Guide, count: u32) -> Guide {
    guide.count = Some(count);
    guide
}

/// A ball of radius 1: an octahedron, each face cut in four `rounds` times.
pub(crate) fn ball(rounds: usize) -> TriMesh {
    let mut mesh = TriMesh {
        positions: [
            DVec3::X,
            DVec3::Y,
            DVec3::Z,
            -DVec3::X,
            -DVec3::Y,
            -DVec3::Z,
        ]
        .map(|p| p.as_vec3())
        .to_vec(),
        triangles: vec![
            [0, 1, 2],
            [1, 3, 2],
            [3, 4, 2],
            [4, 0, 2],
            [1, 0, 5],
            [3, 1, 5],
            [4, 3, 5],
            [0, 4, 5],
        ],
    };
    for _ in 0..rounds {
        let mut middle = std::collections::BTreeMap::new();
        let mut finer = Vec::with_capacity(4 * mesh.triangles.len());
        for t in &mesh.triangles {
            let m = [0, 1, 2].map(|i| {
                let (a, b) = (t[i].min(t[(i + 1) % 3]), t[i].max(t[(i + 1) % 3]));
                *middle.entry((a, b)).or_insert_with(|| {
                    let sum = mesh.positions[a as usize].as_dvec3()
                        + mesh.positions[b as usize].as_dvec3();
                    mesh.positions.push(sum.normalize().as_vec3());
                    mesh.positions.len() as u32 - 1
                })
            });
            finer.extend([
                [t[0], m[0], m[2]],
                [m[0], t[1], m[1]],
                [m[2], m[1], t[2]],
                m,
            ]);
        }
        mesh.triangles = finer;
    }
    mesh
}

/// A closed guide around a ball of radius 1 at a height.
pub(crate) fn parallel(name: &str, y: f64) -> Guide {
    let radius = (1.0 - y * y).sqrt();
    let mut guide = ring(name, GuideKind::Ring, 40, |_| 0.0);
    for p in &mut guide.points {
        *p = DVec3::new(radius * p.x, y, radius * p.z);
    }
    guide
}

/// A flat plate of 4 × 4 with the quarter from (2, 2) on left out.
fn corner_plate(steps: u32) -> TriMesh {
    let mut mesh = grid(steps, steps, [false; 2], |u, v| {
        DVec3::new(4.0 * u, 4.0 * v, 0.0)
    });
    let inside = |t: &[u32; 3]| {
        let centre = t
            .iter()
            .map(|&v| mesh.positions[v as usize].as_dvec3())
            .sum::<DVec3>()
            / 3.0;
        centre.x < 2.0 || centre.y < 2.0
    };
    let kept: Vec<[u32; 3]> = mesh.triangles.iter().copied().filter(inside).collect();
    mesh.triangles = kept;
    mesh
}

/// A ring around the tube of a ring-shaped body of radii 3 and 1.
fn around_torus() -> Guide {
    let mut guide = ring("around", GuideKind::Ring, 40, |_| 0.0);
    for p in &mut guide.points {
        *p = DVec3::new(3.0 + p.x, p.z, 0.0);
    }
    guide
}

fn torus() -> TriMesh {
    let tau = std::f64::consts::TAU;
    grid(120, 48, [true; 2], |u, v| {
        let (u, v) = (tau * u, tau * v);
        let r = 3.0 + v.cos();
        DVec3::new(r * u.cos(), r * u.sin(), v.sin())
    })
}

/// The three rings of a tube.
pub(crate) fn three_rings(low: Option<u32>, middle: Option<u32>, high: Option<u32>) -> Vec<Guide> {
    [
        ("low", 0.8, low),
        ("middle", 2.0, middle),
        ("high", 3.2, high),
    ]
    .map(|(name, y, count)| Guide {
        count,
        ..ring(name, GuideKind::Ring, 40, |_| y)
    })
    .to_vec()
}

fn case(name: &'static str, sculpt: Sculpt, guides: Vec<Guide>, edge: f64, faces: usize) -> Case {
    Case {
        name,
        sculpt,
        guides,
        plane: PlaneChoice::None,
        edge,
        faces: Some(faces),
    }
}

/// All cases, small enough to be made in a few seconds together.
pub(crate) fn cases() -> Vec<Case> {
    let smooth = || tube(120, 80);
    let crossing = vec![
        counted(ring("waist", GuideKind::Ring, 40, |_| 2.0), 16),
        ring("hem", GuideKind::Opening, 40, |_| 0.4),
        line("seam", GuideKind::Line, 0.08, 2.0, 3.4),
    ];
    vec![
        case("tube", smooth(), three_rings(None, None, None), 0.4, 160),
        case(
            "counts agree",
            smooth(),
            three_rings(Some(12), Some(12), Some(12)),
            0.5,
            96,
        ),
        case(
            "counts differ",
            smooth(),
            three_rings(Some(12), None, Some(16)),
            0.45,
            140,
        ),
        Case {
            plane: PlaneChoice::Given(X),
            ..case("half", smooth(), crossing, 0.4, 72)
        },
        case(
            "dangling line",
            smooth(),
            vec![line("seam", GuideKind::Line, 0.4, 1.0, 3.0)],
            0.4,
            160,
        ),
        case(
            "ball",
            sculpt_of(ball(5)),
            vec![parallel("equator", 0.0)],
            0.3,
            140,
        ),
        case("plate", sculpt_of(corner_plate(40)), vec![], 0.4, 75),
        case("torus", sculpt_of(torus()), vec![around_torus()], 0.7, 240),
    ]
}

/// All cases with what was made of them.
pub(crate) fn all_made() -> &'static [Made] {
    static MADE: LazyLock<Vec<Made>> =
        LazyLock::new(|| cases().into_iter().map(Case::made).collect());
    &MADE
}

/// One of them.
pub(crate) fn made(name: &str) -> &'static Made {
    all_made().iter().find(|m| m.case.name == name).unwrap()
}

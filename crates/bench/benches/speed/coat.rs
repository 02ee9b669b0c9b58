//! The coat as the bench's input.

use base::Task;
use demo::DemoOptions;
use engine::assemble::Sides;
use engine::intake::{self, IntakeOptions, RawTriangles};
use engine::model::{Guide, GuideKind, Plane, Sculpt};
use engine::symmetry::PlaneChoice;
use mesh::DVec3;
use session::{Settings, Size};

/// Triangles as a file would give them, and guides.
pub struct Coat {
    pub raw: RawTriangles,
    guides: Vec<Guide>,
}

/// The ring that the changed job moves, and how far, cm.
const MOVED: &str = "elbow";
const MOVE: DVec3 = DVec3::new(0.3, 0.2, 0.0);

impl Coat {
    /// The demo coat with about this many triangles.
    pub fn new(triangles: usize) -> Self {
        let options = DemoOptions {
            triangles,
            ..DemoOptions::default()
        };
        let made = demo::coat(&options, &Task::default()).expect("the coat");
        let guide = |g: &demo::DemoGuide| Guide {
            name: g.name.clone(),
            kind: match g.kind {
                "ring" => GuideKind::Ring,
                "line" => GuideKind::Line,
                "opening" => GuideKind::Opening,
                other => panic!("unknown kind {other}"),
            },
            closed: g.closed,
            count: g.count,
            points: g.points.clone(),
        };
        Self {
            guides: made.guides.iter().map(guide).collect(),
            raw: RawTriangles {
                positions: made.mesh.positions,
                triangles: made.mesh.triangles,
                parts: Vec::new(),
            },
        }
    }

    /// Triangles in millions.
    pub fn millions(&self) -> f64 {
        self.raw.triangles.len() as f64 / 1e6
    }

    /// Takes the coat in, as the command line does.
    pub fn sculpt(&self) -> Sculpt {
        intake::run(&self.raw, &self.intake_options(), &Task::default())
            .expect("intake")
            .0
    }

    /// Openings stay open.
    pub fn intake_options(&self) -> IntakeOptions {
        let openings = self.guides.iter().filter(|g| g.kind == GuideKind::Opening);
        IntakeOptions {
            keep_open: openings.flat_map(|g| g.points.iter().copied()).collect(),
            ..IntakeOptions::default()
        }
    }

    /// The demo's job with this many faces.
    pub fn settings(&self, faces: usize) -> Settings {
        Settings {
            guides: self.guides.clone(),
            plane: PlaneChoice::Given(Plane {
                origin: DVec3::ZERO,
                normal: DVec3::X,
            }),
            sides: Sides::Mirror,
            adapt: 0.5,
            edits: vec![],
            intent: Default::default(),
            size: Size::Faces(faces),
            holds: Vec::new(),
        }
    }

    /// The same job without the ring that [`Coat::changed`] moves.
    pub fn without_moved(&self, faces: usize) -> Settings {
        let mut settings = self.settings(faces);
        settings.guides.retain(|g| !g.name.contains(MOVED));
        settings
    }

    /// The same job with one ring moved a little.
    pub fn changed(&self, faces: usize) -> Settings {
        let mut settings = self.settings(faces);
        let rings = settings
            .guides
            .iter_mut()
            .filter(|g| g.kind == GuideKind::Ring);
        let mut moved = 0;
        for ring in rings.filter(|g| g.name.contains(MOVED)).take(1) {
            ring.points.iter_mut().for_each(|p| *p += MOVE);
            moved += 1;
        }
        assert_eq!(moved, 1, "the coat has a ring at the {MOVED}");
        settings
    }
}

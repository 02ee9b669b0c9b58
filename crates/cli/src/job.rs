//! From a job file and the command line's overrides to what the stages take.

use std::path::Path;

use engine::assemble::Sides;
use engine::edit::{Change, Edit, LoopPlace};
use engine::model::{
    Area, AreaSize, ExtraLoops, Guide, GuideKind, Hold, Intent, KeepOut, KeepOutPlace, Pin, Plane,
    Region,
};
use engine::symmetry::PlaneChoice;
use files::{ChangeSpec, JobError, JobFault, JobFile, JobSpec, RegionSpec};
use mesh::DVec3;
use session::{SessionError, Settings, Size};

use crate::args;
use crate::refusal::Refusal;

/// How many times too many quads are let through: openings can cut away most of a sculpt's
/// area, the inner wall of thick cloth for one.
const MARGIN: f64 = 5.0;

/// A job as it is to be run.
pub struct Order {
    /// The job file as it stands on the disk: its lines are those that messages name.
    pub file: JobFile,
    /// What is asked for, overrides included.
    pub spec: JobSpec,
    /// The job file's text with the overrides in it.
    pub text: String,
}

impl Order {
    /// A job file without overrides.
    pub fn of(file: JobFile) -> Self {
        Self {
            spec: file.spec().clone(),
            text: file.text(),
            file,
        }
    }

    /// Applies the overrides of `run`.
    ///
    /// # Errors
    /// [`Refusal::Option`] for a value that a job can't have.
    pub fn with_overrides(file: JobFile, args: &args::Run) -> Result<Self, Refusal> {
        let mut spec = file.spec().clone();
        if let Some(faces) = args.faces {
            spec.set_faces(faces).map_err(of_option("faces"))?;
        }
        if let Some(edge) = args.edge {
            spec.set_edge(edge).map_err(of_option("edge"))?;
        }
        if let Some(adapt) = args.adapt {
            spec.set_adapt(adapt).map_err(of_option("adapt"))?;
        }
        if let Some(plane) = &args.plane {
            spec.set_plane(plane).map_err(of_option("plane"))?;
        }
        if let Some(sides) = &args.sides {
            spec.set_sides(sides).map_err(of_option("sides"))?;
        }
        let text = text_with(&file, &spec)?;
        Ok(Self { file, spec, text })
    }

    /// What the session is to do.
    ///
    /// # Errors
    /// [`Refusal::Read`] with the line of a hold whose file can't be used.
    pub fn settings(&self) -> Result<Settings, Refusal> {
        let holds = self.holds()?;
        Ok(Settings {
            guides: guides_of(&self.spec),
            plane: plane_of(self.spec.symmetry.plane),
            sides: match self.spec.symmetry.sides {
                files::Sides::Mirror => Sides::Mirror,
                files::Sides::Fit => Sides::Fit,
            },
            size: match self.spec.density.size {
                files::Size::Faces(n) => Size::Faces(n as usize),
                files::Size::Edge(edge) => Size::Edge(edge),
            },
            adapt: self.spec.density.adapt,
            edits: edits_of(&self.spec),
            intent: intent_of(&self.spec),
            holds,
        })
    }

    /// The held quads, read from their files.
    ///
    /// # Errors
    /// [`Refusal::Read`] with the hold's line.
    pub fn holds(&self) -> Result<Vec<Hold>, Refusal> {
        let read = |spec: &files::HoldSpec| {
            let path = self.file.hold_path(spec);
            let held = files::read_held(&path).map_err(|source| Refusal::Read {
                place: format!(
                    "{}:{}: hold '{}': ",
                    self.file.path().display(),
                    spec.line,
                    spec.name
                ),
                source: source.into(),
            })?;
            Ok(Hold {
                name: spec.name.clone(),
                positions: held.mesh.positions,
                quads: held.mesh.quads,
                rim: held.rim,
            })
        };
        self.spec.holds.iter().map(read).collect()
    }

    /// The number of faces asked for, if one is.
    pub fn faces(&self) -> Option<u32> {
        match self.spec.density.size {
            files::Size::Faces(n) => Some(n),
            files::Size::Edge(_) => None,
        }
    }

    /// A stage's refusal with the job file and the lines of the guides that it names.
    pub fn stage_refusal(&self, source: SessionError) -> Refusal {
        let lines = guide_lines(self.file.spec(), &source.to_string());
        let file = self.file.path().display();
        let place = match lines.as_slice() {
            [] => format!("{file}: "),
            [line] => format!("{file}:{line}: "),
            [line, others @ ..] => {
                let others: Vec<String> = others.iter().map(usize::to_string).collect();
                format!("{file}:{line} (and line {}): ", others.join(", "))
            }
        };
        Refusal::Stage {
            place,
            source: source.into(),
        }
    }

    /// The place of a key of a table: `coat.toml:7: `.
    pub fn place(&self, table: &str, key: &str) -> String {
        let file = self.file.path().display();
        match self.file.line_of(table, key) {
            Some(line) => format!("{file}:{line}: "),
            None => format!("{file}: "),
        }
    }

    /// Sees to it that the edge asked for doesn't mean more quads than can be made of a
    /// sculpt of this area (square model units).
    ///
    /// # Errors
    /// [`Refusal::TooFine`].
    pub fn check_edge(&self, area: f64) -> Result<(), Refusal> {
        let files::Size::Edge(edge) = self.spec.density.size else {
            return Ok(());
        };
        let quads = area / (edge * edge);
        if quads <= MARGIN * f64::from(*files::FACES.end()) {
            return Ok(());
        }
        let overridden = self.file.spec().density.size != self.spec.density.size;
        Err(Refusal::TooFine {
            place: if overridden {
                "--edge: ".to_owned()
            } else {
                self.place("density", "edge")
            },
            edge,
            quads,
            limit: *files::FACES.end(),
        })
    }
}

fn of_option(option: &'static str) -> impl Fn(JobFault) -> Refusal {
    move |fault| Refusal::Option { option, fault }
}

fn text_with(file: &JobFile, spec: &JobSpec) -> Result<String, JobError> {
    let mut changed = file.clone();
    changed.update(spec.clone())?;
    Ok(changed.text())
}

/// Reads a job file.
///
/// # Errors
/// [`Refusal::Job`] with every problem that it has.
pub fn read(path: &Path) -> Result<JobFile, Refusal> {
    Ok(JobFile::read(path)?)
}

/// The guides as the engine takes them.
pub fn guides_of(spec: &JobSpec) -> Vec<Guide> {
    let guide = |g: &files::GuideSpec| Guide {
        name: g.name.clone(),
        kind: match g.kind {
            files::GuideKind::Ring => GuideKind::Ring,
            files::GuideKind::Line => GuideKind::Line,
            files::GuideKind::Opening => GuideKind::Opening,
        },
        closed: g.closed,
        count: g.count,
        points: g.points.clone(),
    };
    spec.guides.iter().map(guide).collect()
}

/// The edits as the engine takes them.
fn edits_of(spec: &JobSpec) -> Vec<Edit> {
    let edit = |(number, e): (usize, &files::EditSpec)| Edit {
        number,
        line: e.line,
        recount: e.recount,
        change: match e.change {
            ChangeSpec::Insert { at, along, share } => Change::Insert {
                place: LoopPlace { at, along },
                share,
            },
            ChangeSpec::Remove { at, along } => Change::Remove {
                place: LoopPlace { at, along },
            },
            ChangeSpec::Slide { at, along, share } => Change::Slide {
                place: LoopPlace { at, along },
                share,
            },
            ChangeSpec::Move { at, to, relax } => Change::Move {
                from: at,
                to,
                relax,
            },
        },
    };
    (1..).zip(&spec.edits).map(edit).collect()
}

/// Loops, areas, pins and keep-outs as the engine takes them.
pub fn intent_of(spec: &JobSpec) -> Intent {
    let region = |region: &RegionSpec| match region {
        RegionSpec::Outline(points) => Region::Outline(points.clone()),
        RegionSpec::Around { at, reach } => Region::Around {
            at: *at,
            reach: *reach,
        },
    };
    let with_loops = spec.guides.iter().enumerate().filter(|(_, g)| g.loops > 0);
    let area = |a: &files::AreaSpec| Area {
        name: a.name.clone(),
        region: region(&a.region),
        size: match a.size {
            files::AreaSize::Density(density) => AreaSize::Density(density),
            files::AreaSize::Edge(edge) => AreaSize::Edge(edge),
        },
    };
    let pin = |p: &files::PinSpec| Pin {
        name: p.name.clone(),
        at: p.at,
        valence: p.valence,
    };
    let keep_out = |k: &files::KeepOutSpec| {
        let place = match &k.place {
            files::KeepOutPlace::Guide { guide, reach } => KeepOutPlace::Guide {
                guide: spec.guides.iter().position(|g| g.name == *guide)?,
                reach: *reach,
            },
            files::KeepOutPlace::Region(marked) => KeepOutPlace::Region(region(marked)),
        };
        Some(KeepOut {
            name: k.name.clone(),
            place,
        })
    };
    Intent {
        loops: with_loops
            .map(|(guide, g)| ExtraLoops {
                guide,
                loops: g.loops,
            })
            .collect(),
        areas: spec.areas.iter().map(area).collect(),
        pins: spec.pins.iter().map(pin).collect(),
        keep_outs: spec.keep_outs.iter().filter_map(keep_out).collect(),
    }
}

/// The mirror plane as the engine takes it.
pub fn plane_of(plane: files::PlaneSpec) -> PlaneChoice {
    let through_origin = |normal| {
        PlaneChoice::Given(Plane {
            origin: DVec3::ZERO,
            normal,
        })
    };
    match plane {
        files::PlaneSpec::X => through_origin(DVec3::X),
        files::PlaneSpec::Y => through_origin(DVec3::Y),
        files::PlaneSpec::Z => through_origin(DVec3::Z),
        files::PlaneSpec::Find => PlaneChoice::Find,
        files::PlaneSpec::None => PlaneChoice::None,
        files::PlaneSpec::Given { origin, normal } => PlaneChoice::Given(Plane {
            origin,
            normal: normal.normalize_or_zero(),
        }),
    }
}

/// Lines of the guides that a message names in quotes, rising.
fn guide_lines(spec: &JobSpec, message: &str) -> Vec<usize> {
    let names = |name: &str| {
        ['\'', '"']
            .iter()
            .any(|quote| message.contains(&format!("{quote}{name}{quote}")))
    };
    // An area, a pin or a keep-out may be called as a guide is: what it is stands before its name.
    let called = |what: &str, name: &str| message.contains(&format!("{what} '{name}'"));
    let areas = spec.areas.iter().filter(|a| called("area", &a.name));
    let pins = spec.pins.iter().filter(|p| called("pin", &p.name));
    let keep_outs = spec
        .keep_outs
        .iter()
        .filter(|k| called("keep-out", &k.name));
    // A stage that knows only the curves of its rim calls a hold by those.
    let rim = |name: &str| message.contains(&format!("rim of hold {name}"));
    let holds = spec.holds.iter();
    let holds = holds.filter(|h| called("hold", &h.name) || rim(&h.name));
    let mut holds: Vec<usize> = holds.map(|h| h.line).collect();
    if !holds.is_empty() {
        let named = spec.guides.iter().filter(|g| names(&g.name));
        holds.extend(named.map(|g| g.line));
        holds.sort_unstable();
        return holds;
    }
    let others: Vec<usize> = areas
        .map(|a| a.line)
        .chain(pins.map(|p| p.line))
        .chain(keep_outs.map(|k| k.line))
        .collect();
    if !others.is_empty() {
        return others;
    }
    let named = spec.guides.iter().filter(|g| names(&g.name));
    named.map(|g| g.line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const COAT: &str = "job = 1\n[sculpt]\nfile = 'oilskin.ply'\n\
        [[guide]]\nname = 'hem'\nkind = 'opening'\npoints = [[0,0,0],[1,0,0],[0,0,1]]\n\
        [[guide]]\nname = 'waist'\nkind = 'ring'\npoints = [[0,9,0],[1,9,0],[0,9,1]]\n";

    fn order() -> Order {
        Order::of(JobFile::parse("coat.toml".as_ref(), COAT).unwrap())
    }

    #[test]
    fn lines_of_all_guides_that_a_message_names() {
        let spec = order().spec;
        assert_eq!(guide_lines(&spec, "guide \"waist\" is short"), [8]);
        assert_eq!(guide_lines(&spec, "'hem' and 'waist' clash"), [4, 8]);
        assert!(guide_lines(&spec, "the hem of the waistcoat").is_empty());
    }

    #[test]
    fn a_refusal_names_file_line_guide_and_way_out() {
        let source = engine::guides::GuideError::OddCount {
            guide: "waist".into(),
            count: 7,
        };
        let refusal = order().stage_refusal(source.into()).to_string();
        assert!(
            refusal.starts_with("coat.toml:8: guide \"waist\""),
            "{refusal}"
        );
        assert!(refusal.ends_with("6 or 8"), "{refusal}");
        let refusal = order().stage_refusal(SessionError::NoArea).to_string();
        assert!(refusal.starts_with("coat.toml: the sculpt"), "{refusal}");
    }

    #[test]
    fn the_sculpts_keys_have_their_lines() {
        assert_eq!(order().place("sculpt", "file"), "coat.toml:3: ");
        assert_eq!(order().place("sculpt", "part"), "coat.toml: ");
    }

    #[test]
    fn an_edge_that_makes_too_many_quads_is_refused_where_it_stands() {
        let text = COAT.replace("[[guide]]\nname = 'hem'", "density.edge = 0.5\n$0");
        let text = text.replace("$0", "[[guide]]\nname = 'hem'");
        let text = text.replace("[sculpt]\nfile", "sculpt.file");
        let mut order = Order::of(JobFile::parse("coat.toml".as_ref(), &text).unwrap());
        order.check_edge(50_000.0).unwrap();
        let refusal = order.check_edge(1e9).unwrap_err().to_string();
        assert!(
            refusal.starts_with("coat.toml:3: edges of 0.5 "),
            "{refusal}"
        );
        order.spec.set_edge(1e-5).unwrap();
        let refusal = order.check_edge(1.0).unwrap_err().to_string();
        assert!(
            refusal.starts_with("--edge: edges of 0.00001 "),
            "{refusal}"
        );
        assert!(refusal.contains("200000"), "{refusal}");
    }

    #[test]
    fn planes_by_word_go_through_the_origin() {
        let PlaneChoice::Given(plane) = plane_of(files::PlaneSpec::Y) else {
            panic!("not a given plane");
        };
        assert_eq!((plane.origin, plane.normal), (DVec3::ZERO, DVec3::Y));
        let slanted = files::PlaneSpec::Given {
            origin: DVec3::ONE,
            normal: DVec3::new(3.0, 0.0, 4.0),
        };
        let PlaneChoice::Given(plane) = plane_of(slanted) else {
            panic!("not a given plane");
        };
        assert!(plane.normal.distance(DVec3::new(0.6, 0.0, 0.8)) < 1e-15);
    }
}

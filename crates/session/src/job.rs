//! From a job file to what a run takes: the command line and the desk share it.

use engine::assemble::Sides;
use engine::edit::{Change, Edit, LoopPlace};
use engine::model::{
    Area, AreaSize, ExtraLoops, Guide, GuideKind, Hold, Intent, KeepOut, KeepOutPlace, Pin, Plane,
    Region,
};
use engine::symmetry::PlaneChoice;
use files::{ChangeSpec, JobFile, JobSpec, ReadError, RegionSpec};
use mesh::DVec3;
use thiserror::Error;

use super::pipeline::{Settings, Size};

/// A hold's file can't be used.
#[derive(Debug, Error)]
#[error("hold '{hold}': {source}")]
pub struct HoldFileError {
    /// The hold.
    pub hold: String,
    /// Its line in the job file, from 1.
    pub line: usize,
    /// What is wrong with the file.
    pub source: Box<ReadError>,
}

/// What a run takes for a job; held quads are read from their files. `spec` may differ from the
/// file's, which says where files lie.
///
/// # Errors
/// [`HoldFileError`].
pub fn settings_of(file: &JobFile, spec: &JobSpec) -> Result<Settings, HoldFileError> {
    Ok(Settings {
        guides: guides_of(spec),
        plane: plane_of(spec.symmetry.plane),
        sides: match spec.symmetry.sides {
            files::Sides::Mirror => Sides::Mirror,
            files::Sides::Fit => Sides::Fit,
        },
        size: match spec.density.size {
            files::Size::Faces(n) => Size::Faces(n as usize),
            files::Size::Edge(edge) => Size::Edge(edge),
        },
        adapt: spec.density.adapt,
        edits: edits_of(spec),
        intent: intent_of(spec),
        holds: holds_of(file, spec)?,
    })
}

/// The held quads, read from their files.
///
/// # Errors
/// [`HoldFileError`]: the first file that can't be used.
pub fn holds_of(file: &JobFile, spec: &JobSpec) -> Result<Vec<Hold>, HoldFileError> {
    let read = |hold: &files::HoldSpec| {
        let held = files::read_held(&file.hold_path(hold)).map_err(|source| HoldFileError {
            hold: hold.name.clone(),
            line: hold.line,
            source: source.into(),
        })?;
        Ok(Hold {
            name: hold.name.clone(),
            positions: held.mesh.positions,
            quads: held.mesh.quads,
            rim: held.rim,
        })
    };
    spec.holds.iter().map(read).collect()
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

/// The job file and the lines of what a message names: `coat.toml:12: `.
pub fn places_named(spec: &JobSpec, file: impl std::fmt::Display, message: &str) -> String {
    match lines_named(spec, message).as_slice() {
        [] => format!("{file}: "),
        [line] => format!("{file}:{line}: "),
        [line, others @ ..] => {
            let others: Vec<String> = others.iter().map(usize::to_string).collect();
            format!("{file}:{line} (and line {}): ", others.join(", "))
        }
    }
}

/// Lines of the guides that a message names in quotes, rising.
pub fn lines_named(spec: &JobSpec, message: &str) -> Vec<usize> {
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
    let trims = spec.trims.iter().filter(|t| called("trim", &t.name));
    let others: Vec<usize> = areas
        .map(|a| a.line)
        .chain(pins.map(|p| p.line))
        .chain(keep_outs.map(|k| k.line))
        .chain(trims.map(|t| t.line))
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

    #[test]
    fn lines_of_all_guides_that_a_message_names() {
        let text = "job = 1\n[sculpt]\nfile = 'oilskin.ply'\n\
            [[guide]]\nname = 'hem'\nkind = 'opening'\npoints = [[0,0,0],[1,0,0],[0,0,1]]\n\
            [[guide]]\nname = 'waist'\nkind = 'ring'\npoints = [[0,9,0],[1,9,0],[0,9,1]]\n";
        let file = JobFile::parse("coat.toml".as_ref(), text).unwrap();
        let spec = file.spec();
        assert_eq!(lines_named(spec, "guide \"waist\" is short"), [8]);
        assert_eq!(lines_named(spec, "'hem' and 'waist' clash"), [4, 8]);
        assert!(lines_named(spec, "the hem of the waistcoat").is_empty());
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

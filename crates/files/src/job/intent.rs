//! What a job asks for beside its guides: areas of other density, pinned poles, keep-outs.
//! As types, from tables and to tables.

use mesh::DVec3;
use toml_edit::{Item, Table, Value};

use super::error::JobFault;
use super::read::Named;
use super::spec::{checked_edge, out_of_range};
use super::table::{Problems, View};
use super::write::{points_value, set, set_or_remove, vector};

/// Extra loops that a ring may be given.
pub const LOOPS: std::ops::RangeInclusive<u32> = 1..=12;
/// Density of an area over the one that would be there.
pub const DENSITY: std::ops::RangeInclusive<f64> = 0.25..=4.0;
/// Reach of a keep-out around a guide, in quads.
pub const QUADS: std::ops::RangeInclusive<f64> = 0.0..=20.0;

/// A part of the sculpt's surface.
#[derive(Clone, Debug, PartialEq)]
pub enum RegionSpec {
    /// What a closed outline encloses: at least three points, model units.
    Outline(Vec<DVec3>),
    /// What lies within a distance of a point and hangs together with it.
    Around {
        /// The point, model units.
        at: DVec3,
        /// The distance, model units, above 0.
        reach: f64,
    },
}

/// Size of the quads of an area.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum AreaSize {
    /// Quads along a length, over how many there would be: 0.25 to 4.
    Density(f64),
    /// Edge length, model units, above 0.
    Edge(f64),
}

/// A part of the surface with quads of another size.
#[derive(Clone, Debug, PartialEq)]
pub struct AreaSpec {
    /// Unique among areas.
    pub name: String,
    /// Where.
    pub region: RegionSpec,
    /// What size.
    pub size: AreaSize,
    /// Line of its table in the job file, from 1; 0 if it isn't in a file yet.
    pub line: usize,
}

/// A pole wanted at a place.
#[derive(Clone, Debug, PartialEq)]
pub struct PinSpec {
    /// Unique among pins.
    pub name: String,
    /// Where, model units.
    pub at: DVec3,
    /// Edges that meet there: 3 or 5.
    pub valence: u32,
    /// Line of its table in the job file, from 1; 0 if it isn't in a file yet.
    pub line: usize,
}

/// What poles are kept out of.
#[derive(Clone, Debug, PartialEq)]
pub enum KeepOutPlace {
    /// A guide and what lies within some quads of it.
    Guide {
        /// The guide's name.
        guide: String,
        /// Quads on either side, 0 to 20.
        reach: f64,
    },
    /// A part of the surface.
    Region(RegionSpec),
}

/// A place without poles.
#[derive(Clone, Debug, PartialEq)]
pub struct KeepOutSpec {
    /// Unique among keep-outs.
    pub name: String,
    /// Where.
    pub place: KeepOutPlace,
    /// Line of its table in the job file, from 1; 0 if it isn't in a file yet.
    pub line: usize,
}

const OUTLINE: &str = "outline = [[0, 9, 1], [1, 9, 0], [0, 9, -1]]";
const AT: &str = "at = [38.0, 113.2, -6.1]";
const REACH: &str = "reach = 4.0";
const NAME: &str = "name = \"left elbow\"";

/// `loops` of a guide: 0 where nothing is said.
pub(super) fn loops(table: &View<'_>, ring: Option<bool>, problems: &mut Problems<'_>) -> u32 {
    let Some(loops) = table.whole(problems, "loops", "loops = 3") else {
        return 0;
    };
    if ring == Some(false) {
        table.problem(problems, "loops", JobFault::LoopsBesideNoRing);
        return 0;
    }
    match u32::try_from(loops).ok().filter(|n| LOOPS.contains(n)) {
        Some(loops) => loops,
        None => {
            let range = format!("from {} to {}, or left out", LOOPS.start(), LOOPS.end());
            table.problem(problems, "loops", out_of_range("loops", loops, range));
            0
        }
    }
}

fn name(table: &View<'_>, problems: &mut Problems<'_>) -> Option<String> {
    if !table.has("name") {
        table.missing(problems, "name", NAME);
    }
    let name = table.text(problems, "name", NAME)?;
    Some(name.trim().to_owned())
}

fn above_zero(
    table: &View<'_>,
    key: &str,
    example: &'static str,
    problems: &mut Problems<'_>,
) -> Option<f64> {
    let value = table.number(problems, key, example)?;
    if value.is_finite() && value > 0.0 {
        return Some(value);
    }
    let range = "a length above 0 in the job's units".to_owned();
    table.problem(problems, key, out_of_range(key, value, range));
    None
}

/// An outline, or a point with a reach.
fn region(table: &View<'_>, problems: &mut Problems<'_>) -> Option<RegionSpec> {
    match (table.has("outline"), table.has("at")) {
        (true, false) => {
            if table.has("reach") {
                let wanted = "'outline', or 'at' with 'reach'";
                table.problem(problems, "reach", JobFault::EitherOr { wanted });
            }
            let points = table.vectors(problems, "outline", OUTLINE)?;
            if points.len() < 3 {
                let fault = JobFault::TooFewPoints {
                    have: points.len(),
                    need: 3,
                    closed: true,
                };
                table.problem(problems, "outline", fault);
            }
            Some(RegionSpec::Outline(points))
        }
        (false, true) => {
            if !table.has("reach") {
                table.missing(problems, "reach", REACH);
            }
            let at = table.vector(problems, "at", AT);
            let reach = above_zero(table, "reach", REACH, problems);
            Some(RegionSpec::Around {
                at: at?,
                reach: reach?,
            })
        }
        (both, _) => {
            let wanted = "'outline', or 'at' with 'reach'";
            let key = if both { "outline" } else { "name" };
            table.problem(problems, key, JobFault::EitherOr { wanted });
            None
        }
    }
}

/// `[[area]]`.
pub(super) fn area(table: &View<'_>, line: usize, problems: &mut Problems<'_>) -> Option<AreaSpec> {
    let keys = ["name", "outline", "at", "reach", "density", "edge"];
    table.only(problems, &keys, &[]);
    let name = name(table, problems);
    let region = region(table, problems);
    let size = match (table.has("density"), table.has("edge")) {
        (true, false) => {
            let density = table.number(problems, "density", "density = 1.5");
            let checked = density.filter(|d| DENSITY.contains(d));
            if let (Some(density), None) = (density, checked) {
                let range = format!("from {} to {}", DENSITY.start(), DENSITY.end());
                let fault = out_of_range("density", density, range);
                table.problem(problems, "density", fault);
            }
            checked.map(AreaSize::Density)
        }
        (false, true) => {
            let edge = table.number(problems, "edge", "edge = 1.2");
            match edge.map(checked_edge) {
                Some(Ok(edge)) => Some(AreaSize::Edge(edge)),
                Some(Err(fault)) => {
                    table.problem(problems, "edge", fault);
                    None
                }
                None => None,
            }
        }
        (both, _) => {
            let wanted = "'density' or 'edge'";
            let key = if both { "edge" } else { "name" };
            table.problem(problems, key, JobFault::EitherOr { wanted });
            None
        }
    };
    Some(AreaSpec {
        name: name?,
        region: region?,
        size: size?,
        line,
    })
}

/// `[[pin]]`.
pub(super) fn pin(table: &View<'_>, line: usize, problems: &mut Problems<'_>) -> Option<PinSpec> {
    table.only(problems, &["name", "at", "valence"], &[]);
    let name = name(table, problems);
    for (key, example) in [("at", AT), ("valence", "valence = 5")] {
        if !table.has(key) {
            table.missing(problems, key, example);
        }
    }
    let at = table.vector(problems, "at", AT);
    let valence = table.whole(problems, "valence", "valence = 5")?;
    let known = match valence {
        3 => Some(3),
        5 => Some(5),
        _ => {
            let fault = out_of_range("valence", valence, "3 or 5".to_owned());
            table.problem(problems, "valence", fault);
            None
        }
    };
    Some(PinSpec {
        name: name?,
        at: at?,
        valence: known?,
        line,
    })
}

/// `[[keep_out]]`; `guides` are the names that the job has.
pub(super) fn keep_out(
    table: &View<'_>,
    line: usize,
    guides: &[&str],
    problems: &mut Problems<'_>,
) -> Option<KeepOutSpec> {
    table.only(problems, &["name", "guide", "outline", "at", "reach"], &[]);
    let name = name(table, problems);
    if !table.has("guide") {
        let place = KeepOutPlace::Region(region(table, problems)?);
        return Some(KeepOutSpec {
            name: name?,
            place,
            line,
        });
    }
    for key in ["outline", "at"] {
        if table.has(key) {
            let wanted = "'guide' with 'reach', 'outline', or 'at' with 'reach'";
            table.problem(problems, key, JobFault::EitherOr { wanted });
        }
    }
    let guide = table.text(problems, "guide", "guide = \"left elbow\"");
    let guide = guide.map(str::trim).filter(|guide| {
        let known = guides.contains(guide);
        if !known {
            let fault = JobFault::UnknownGuide {
                guide: (*guide).to_owned(),
                nearest: super::near::nearest(guide, guides.iter().copied()),
            };
            table.problem(problems, "guide", fault);
        }
        known
    });
    if !table.has("reach") {
        table.missing(problems, "reach", "reach = 2");
    }
    let reach = table.number(problems, "reach", "reach = 2")?;
    if !QUADS.contains(&reach) {
        let range = format!("from {} to {} quads", QUADS.start(), QUADS.end());
        table.problem(problems, "reach", out_of_range("reach", reach, range));
        return None;
    }
    Some(KeepOutSpec {
        name: name?,
        place: KeepOutPlace::Guide {
            guide: guide?.to_owned(),
            reach,
        },
        line,
    })
}

impl Named for AreaSpec {
    const KEY: &'static str = "area";

    fn name(&self) -> &str {
        &self.name
    }

    fn change(&self, table: &mut Table, before: Option<&Self>) {
        set_name(table, &self.name, before.map(|b| b.name.as_str()));
        set_region(table, Some(&self.region), before.map(|b| &b.region));
        if before.map(|b| b.size) != Some(self.size) {
            let (density, edge) = match self.size {
                AreaSize::Density(density) => (Some(density.into()), None),
                AreaSize::Edge(edge) => (None, Some(edge.into())),
            };
            set_or_remove(table, "density", density);
            set_or_remove(table, "edge", edge);
        }
    }
}

impl Named for PinSpec {
    const KEY: &'static str = "pin";

    fn name(&self) -> &str {
        &self.name
    }

    fn change(&self, table: &mut Table, before: Option<&Self>) {
        set_name(table, &self.name, before.map(|b| b.name.as_str()));
        if before.map(|b| b.at) != Some(self.at) {
            set(table, "at", Value::Array(vector(self.at)));
        }
        if before.map(|b| b.valence) != Some(self.valence) {
            set(table, "valence", i64::from(self.valence).into());
        }
    }
}

impl Named for KeepOutSpec {
    const KEY: &'static str = "keep_out";

    fn name(&self) -> &str {
        &self.name
    }

    fn change(&self, table: &mut Table, before: Option<&Self>) {
        set_name(table, &self.name, before.map(|b| b.name.as_str()));
        if before.map(|b| &b.place) == Some(&self.place) {
            return;
        }
        match &self.place {
            KeepOutPlace::Guide { guide, reach } => {
                set_region(table, None, None);
                set(table, "guide", guide.as_str().into());
                set(table, "reach", (*reach).into());
            }
            KeepOutPlace::Region(region) => {
                set_or_remove(table, "guide", None);
                set_region(table, Some(region), None);
            }
        }
    }
}

fn set_name(table: &mut Table, name: &str, before: Option<&str>) {
    if before != Some(name) {
        set(table, "name", name.into());
    }
}

fn set_region(table: &mut Table, region: Option<&RegionSpec>, before: Option<&RegionSpec>) {
    if region.is_some() && region == before {
        return;
    }
    let (outline, at, reach) = match region {
        Some(RegionSpec::Outline(points)) => (Some(points_value(points)), None, None),
        Some(RegionSpec::Around { at, reach }) => {
            (None, Some(Value::Array(vector(*at))), Some((*reach).into()))
        }
        None => (None, None, None),
    };
    set_or_remove(table, "outline", outline);
    set_or_remove(table, "at", at);
    set_or_remove(table, "reach", reach);
}

/// The text of a table of a new file.
pub(super) fn table_text<T: Named>(one: &T, out: &mut String) {
    let mut table = Table::new();
    one.change(&mut table, None);
    out.push_str(&format!("\n[[{}]]\n", T::KEY));
    for (key, item) in table.iter() {
        if let Item::Value(value) = item {
            out.push_str(&format!("{key} = {}\n", value.to_string().trim()));
        }
    }
}

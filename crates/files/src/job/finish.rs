//! What the whole part is given at the end: `[lining]` and `[shading]`. As types, from tables and to
//! tables.

use toml_edit::Table;

use super::spec::out_of_range;
use super::table::{MayVanish, Problems, View};
use super::write::{set, table_in};

/// Degrees between faces beyond which an edge is hard.
pub const HARD_ANGLE: std::ops::RangeInclusive<f64> = 0.0..=180.0;
/// The same when the job doesn't say.
pub const DEFAULT_HARD_ANGLE: f64 = 60.0;

/// A second wall inside of the whole part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LiningSpec {
    /// From wall to wall, model units, above 0.
    pub thickness: f64,
}

/// Which edges look sharp.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShadingSpec {
    /// Edges whose faces turn by more than this are hard, degrees.
    pub hard_angle: f64,
}

impl Default for ShadingSpec {
    fn default() -> Self {
        Self {
            hard_angle: DEFAULT_HARD_ANGLE,
        }
    }
}

/// `[lining]`, if it is there.
pub(super) fn lining(top: &View<'_>, problems: &mut Problems<'_>) -> Option<LiningSpec> {
    const THICKNESS: &str = "thickness = 0.4";
    let table = top.table(problems, "lining", "thickness = 0.4 under [lining]")?;
    table.only(problems, &["thickness"], &[]);
    if !table.has("thickness") {
        table.missing(problems, "thickness", THICKNESS);
    }
    let thickness = table.length(problems, "thickness", THICKNESS, MayVanish::No)?;
    Some(LiningSpec { thickness })
}

/// `[shading]`, or what it says when it isn't there.
pub(super) fn shading(top: &View<'_>, problems: &mut Problems<'_>) -> ShadingSpec {
    let mut shading = ShadingSpec::default();
    let Some(table) = top.table(problems, "shading", "hard_angle = 60 under [shading]") else {
        return shading;
    };
    table.only(problems, &["hard_angle"], &[]);
    if let Some(angle) = table.number(problems, "hard_angle", "hard_angle = 60") {
        if HARD_ANGLE.contains(&angle) {
            shading.hard_angle = angle;
        } else {
            let range = format!(
                "from {} to {} degrees",
                HARD_ANGLE.start(),
                HARD_ANGLE.end()
            );
            table.problem(
                problems,
                "hard_angle",
                out_of_range("hard_angle", angle, range),
            );
        }
    }
    shading
}

/// Both as text of a new file.
pub(super) fn text(lining: Option<LiningSpec>, shading: ShadingSpec) -> String {
    let mut text = String::new();
    if let Some(lining) = lining {
        let thickness = toml_edit::Value::from(lining.thickness);
        text += &format!("\n[lining]\nthickness = {thickness}\n");
    }
    if shading != ShadingSpec::default() {
        let angle = toml_edit::Value::from(shading.hard_angle);
        text += &format!("\n[shading]\nhard_angle = {angle}\n");
    }
    text
}

/// Writes what differs into a file's tables.
pub(super) fn update(
    top: &mut Table,
    old: (Option<LiningSpec>, ShadingSpec),
    new: (Option<LiningSpec>, ShadingSpec),
) {
    if old.0 != new.0 {
        match new.0 {
            Some(lining) => {
                if let Some(table) = table_in(top, "lining") {
                    set(table, "thickness", lining.thickness.into());
                }
            }
            None => {
                top.remove("lining");
            }
        }
    }
    if old.1 != new.1
        && let Some(table) = table_in(top, "shading")
    {
        set(table, "hard_angle", new.1.hard_angle.into());
    }
}

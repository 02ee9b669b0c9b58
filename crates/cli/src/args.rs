//! The command line's words.

use std::path::PathBuf;

use clap::{Args as Group, Parser, Subcommand};
use mesh::DVec3;

const EXAMPLES: &str = "\
Examples:
  loopwright demo
  loopwright run coat.toml --out out/coat
  loopwright run coat.toml --out out/coat --faces 2400 --threads 2
  loopwright watch coat.toml --out out/coat
  loopwright figure keeper.toml --out out/keeper
  loopwright suggest coat.toml --out coat-proposed.toml
  loopwright measure out/coat/surface.obj --job coat.toml
  loopwright hold coat.toml --surface out/coat/surface.obj --name \"left sleeve\" --group left_cuff-left_elbow
  loopwright edit coat.toml insert --at 38.0,113.2,-6.1 --along 0,0,1 --recount

A small job file, coat.toml:
  job = 1
  units = \"cm\"
  [sculpt]
  file = \"oilskin.ply\"
  [symmetry]
  plane = \"x\"
  [density]
  faces = 1800
  [[guide]]
  name = \"left wrist\"
  kind = \"opening\"
  count = 12
  points = [[52.1, 99.4, 1.2], [50.3, 103.1, 2.9], [49.2, 100.2, -2.0]]

README.md lists every key.

Exit status:
  0    ready: the surface was made and every check holds
  1    not ready: the surface was made, but a check fails; the findings say which and where
  2    refused: no surface, and nothing was written; the message says why and what to do
  130  cancelled, by Ctrl-C for instance: nothing was written
watch says these in words, one line a run, and goes on; Ctrl-C ends it with 130, and the results of
its last whole run stay";

/// Lays a light, all-quad surface over a dense sculpt, along the guides drawn on it.
#[derive(Debug, Parser)]
#[command(name = "loopwright", version, about, after_help = EXAMPLES)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    pub verb: Verb,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Run a job file: write surface.obj, surface.glb, findings.json and report.html
    Run(Run),
    /// Run the parts of a set file from the inside out, each clear of those beneath it, with one report
    Figure(Figure),
    /// Run a job or a set file, and again whenever it or a file that it names changes, until Ctrl-C
    Watch(Run),
    /// Make the lighthouse keeper's sculpts, jobs and set file, run them, leave the report
    Demo(Demo),
    /// Propose guides for a sculpt: write a copy of the job file with rings and lines to keep or drop
    Suggest(Suggest),
    /// Check a surface of quads that is there already, whoever made it
    Measure(Measure),
    /// Hold a region of a surface: later runs leave its quads bit for bit as they are
    Hold(Hold),
    /// Append an edit to a job: a loop put in, taken out or slid, a vertex moved; each run plays it
    Edit(Edit),
}

/// Options of every verb.
#[derive(Clone, Debug, Group)]
pub struct Common {
    /// Threads to use; 0 takes all cores. The result is the same for any number
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = clap::value_parser!(u16).range(..=1024))]
    pub threads: u16,
    /// Print the findings as JSON on standard output
    #[arg(long)]
    pub json: bool,
    /// Print nothing but errors
    #[arg(long, short, conflicts_with = "verbose")]
    pub quiet: bool,
    /// Print every finding, the measures, and time and memory of each stage
    #[arg(long, short)]
    pub verbose: bool,
    /// Height of the report's pictures in pixels, 64 to 4096; 0 leaves pictures out
    #[arg(long, value_name = "PIXELS", default_value_t = 900, value_parser = picture_height)]
    pub pictures: u32,
    /// Write each picture of the report as a PNG file too
    #[arg(long)]
    pub picture_files: bool,
    /// Measure how near plain decimation to as many vertices comes; seconds on a large sculpt
    #[arg(long)]
    pub yardstick: bool,
}

/// Options of `run` and `watch`.
#[derive(Debug, Group)]
pub struct Run {
    /// The job file (TOML); watch takes a set file too
    pub job: PathBuf,
    /// Folder for the results; made if it isn't there
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Faces of the whole surface, instead of the job's density
    #[arg(long, value_name = "N", conflicts_with = "edge")]
    pub faces: Option<u32>,
    /// Edge length in the job's units, instead of the job's density
    #[arg(long, value_name = "LENGTH")]
    pub edge: Option<f64>,
    /// How far the size follows curvature, 0 to 1, instead of the job's
    #[arg(long, value_name = "SHARE")]
    pub adapt: Option<f64>,
    /// Mirror plane, instead of the job's
    #[arg(long, value_name = "PLANE", value_parser = ["x", "y", "z", "find", "none"])]
    pub plane: Option<String>,
    /// What the mirrored side becomes, instead of the job's: an exact copy, or fitted to its own surface
    #[arg(long, value_name = "SIDES", value_parser = ["mirror", "fit"])]
    pub sides: Option<String>,
    /// Common options.
    #[command(flatten)]
    pub common: Common,
}

impl Run {
    /// The first option given that stands above what a job says.
    pub fn of_job(&self) -> Option<&'static str> {
        let all = [
            ("faces", self.faces.is_some()),
            ("edge", self.edge.is_some()),
            ("adapt", self.adapt.is_some()),
            ("plane", self.plane.is_some()),
            ("sides", self.sides.is_some()),
        ];
        all.into_iter()
            .find(|(_, given)| *given)
            .map(|(name, _)| name)
    }
}

/// Options of `figure`.
#[derive(Debug, Group)]
pub struct Figure {
    /// The set file (TOML)
    pub set: PathBuf,
    /// Folder for the results, one within it for each part; made if it isn't there
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Make every part anew, even if nothing that it is made from has changed
    #[arg(long)]
    pub anew: bool,
    /// Common options.
    #[command(flatten)]
    pub common: Common,
}

/// Options of `demo`.
#[derive(Debug, Group)]
pub struct Demo {
    /// Folder for sculpt, job and results; made if it isn't there
    #[arg(long, value_name = "DIR", default_value = "out/demo")]
    pub out: PathBuf,
    /// Make the coat only, without trims and with nothing beneath; its results are in DIR itself
    #[arg(long)]
    pub only_coat: bool,
    /// Triangles of the coat's sculpt, 10000 to 8000000; other sculpts have fewer
    #[arg(long, value_name = "N", default_value_t = 1_000_000, value_parser = clap::value_parser!(u32).range(10_000..=8_000_000))]
    pub triangles: u32,
    /// Faces of the whole figure, 9000 if left out; with --only-coat of the coat, 1800
    #[arg(long, value_name = "N")]
    pub faces: Option<u32>,
    /// Make every sculpt and part anew, even if nothing that it is made from has changed
    #[arg(long)]
    pub anew: bool,
    /// Common options.
    #[command(flatten)]
    pub common: Common,
}

/// Options of `suggest`.
#[derive(Debug, Group)]
pub struct Suggest {
    /// The job file (TOML); it needs no guides, and it stays as it is
    pub job: PathBuf,
    /// The copy with proposed guides; without it they are shown only
    #[arg(long, value_name = "COPY")]
    pub out: Option<PathBuf>,
    /// Leave out proposals less sure than this, 0 to 1
    #[arg(long, value_name = "CONFIDENCE", default_value_t = 0.0, value_parser = share)]
    pub least: f64,
    /// Common options.
    #[command(flatten)]
    pub common: Common,
}

/// Options of `measure`.
#[derive(Debug, Group)]
pub struct Measure {
    /// The surface: an OBJ file of quads
    pub surface: PathBuf,
    /// The sculpt that it lies over; the job's if left out
    #[arg(long, value_name = "FILE", required_unless_present = "job")]
    pub sculpt: Option<PathBuf>,
    /// A job file, for its guides, counts, mirror plane and density
    #[arg(long, value_name = "JOB")]
    pub job: Option<PathBuf>,
    /// Mirror plane, instead of the job's
    #[arg(long, value_name = "PLANE", value_parser = ["x", "y", "z", "find", "none"])]
    pub plane: Option<String>,
    /// Folder for findings.json and report.html; without it nothing is written
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Common options.
    #[command(flatten)]
    pub common: Common,
}

/// Options of `hold`.
#[derive(Debug, Group)]
#[command(group(clap::ArgGroup::new("region").required(true).args(["at", "group"])))]
pub struct Hold {
    /// The job file (TOML); comments and order stay
    pub job: PathBuf,
    /// The surface that has the quads: a run's surface.obj
    #[arg(long, value_name = "FILE")]
    pub surface: PathBuf,
    /// A name of its own; a hold of this name is taken anew
    #[arg(long, value_name = "NAME", value_parser = clap::builder::NonEmptyStringValueParser::new())]
    pub name: String,
    /// Hold what hangs together around this point, in the job's units
    #[arg(long, value_name = "X,Y,Z", value_parser = point, allow_hyphen_values = true, requires = "reach")]
    pub at: Option<DVec3>,
    /// How far around the point, in the job's units
    #[arg(long, value_name = "LENGTH", value_parser = length, requires = "at")]
    pub reach: Option<f64>,
    /// Hold a group of the surface, such as left_cuff-left_elbow; may be given several times
    #[arg(long, value_name = "GROUP", conflicts_with = "at")]
    pub group: Vec<String>,
    /// Common options.
    #[command(flatten)]
    pub common: Common,
}

/// Words of `edit`.
#[derive(Debug, Group)]
pub struct Edit {
    /// The job file (TOML); comments and order stay
    pub job: PathBuf,
    /// What the edit does.
    #[command(subcommand)]
    pub change: EditChange,
}

/// What an edit does.
#[derive(Debug, Subcommand)]
pub enum EditChange {
    /// Split the strip of quads at a point by a new loop
    Insert {
        /// Where, and the loop's direction there.
        #[command(flatten)]
        place: LoopWords,
        /// Where the loop crosses the strip: 0 at its right edge, seen along the direction from outside, 1 at its left
        #[arg(long, value_name = "SHARE", default_value_t = 0.5)]
        share: f64,
        /// Guides that the loop crosses promise one quad more from then on
        #[arg(long)]
        recount: bool,
    },
    /// Take the loop at a point out, so that the strips on both sides become one
    Remove {
        /// Where, and the loop's direction there.
        #[command(flatten)]
        place: LoopWords,
        /// Guides that the loop crosses promise one quad less from then on
        #[arg(long)]
        recount: bool,
    },
    /// Move the loop at a point over the sculpt
    Slide {
        /// Where, and the loop's direction there.
        #[command(flatten)]
        place: LoopWords,
        /// Share of the way to the neighbour on the left, seen along the direction from outside; below 0 to the one on the right
        #[arg(long, value_name = "SHARE", allow_hyphen_values = true)]
        share: f64,
    },
    /// Move the vertex nearest to a point over the sculpt
    Move {
        /// A point at the vertex
        #[arg(long, value_name = "X,Y,Z", value_parser = point, allow_hyphen_values = true)]
        at: DVec3,
        /// Where it goes
        #[arg(long, value_name = "X,Y,Z", value_parser = point, allow_hyphen_values = true)]
        to: DVec3,
        /// Even out vertices up to so many edges around it
        #[arg(long, value_name = "EDGES", default_value_t = 0)]
        relax: u32,
    },
}

/// A loop or strip.
#[derive(Debug, Group)]
pub struct LoopWords {
    /// A point on the surface, in the job's units
    #[arg(long, value_name = "X,Y,Z", value_parser = point, allow_hyphen_values = true)]
    pub at: DVec3,
    /// The direction in which the loop runs there
    #[arg(long, value_name = "X,Y,Z", value_parser = point, allow_hyphen_values = true)]
    pub along: DVec3,
}

fn point(text: &str) -> Result<DVec3, String> {
    let parts: Vec<f64> = text
        .split(',')
        .filter_map(|n| n.trim().parse().ok())
        .collect();
    match parts.as_slice() {
        &[x, y, z] if text.split(',').count() == 3 && DVec3::new(x, y, z).is_finite() => {
            Ok(DVec3::new(x, y, z))
        }
        _ => Err("give three numbers with commas between, such as 31.0,104.2,3.5".to_owned()),
    }
}

fn length(text: &str) -> Result<f64, String> {
    let length = text.parse().ok();
    let length = length.filter(|l: &f64| l.is_finite() && *l > 0.0);
    length.ok_or_else(|| "give a length above 0".to_owned())
}

fn share(text: &str) -> Result<f64, String> {
    let share = text.parse().ok();
    let share = share.filter(|share| (0.0..=1.0).contains(share));
    share.ok_or_else(|| "give a number from 0 to 1".to_owned())
}

fn picture_height(text: &str) -> Result<u32, String> {
    let range = report::ReportInput::PICTURE_PX;
    match text.parse() {
        Ok(height) if height == 0 || range.contains(&height) => Ok(height),
        _ => Err(format!(
            "give a height from {} to {} pixels, or 0 for no pictures",
            range.start(),
            range.end()
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory as _;

    #[test]
    fn the_words_fit_together() {
        Args::command().debug_assert();
    }

    #[test]
    fn picture_heights_are_none_or_fit_to_see() {
        assert_eq!(picture_height("0"), Ok(0));
        assert_eq!(picture_height("64"), Ok(64));
        for wrong in ["63", "4097", "-1", "tall"] {
            assert!(picture_height(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn points_are_three_numbers() {
        assert_eq!(point("-1,2.5, 3e1"), Ok(DVec3::new(-1.0, 2.5, 30.0)));
        for wrong in ["1,2", "1,2,3,4", "1,2,x", "1,,2,3", "inf,0,0", ""] {
            assert!(point(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn shares_lie_between_0_and_1() {
        assert_eq!(share("0.5"), Ok(0.5));
        for wrong in ["1.01", "-0.1", "NaN", "half"] {
            assert!(share(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn the_example_in_the_help_is_a_job() {
        let start = EXAMPLES.find("  job = 1").unwrap();
        let end = EXAMPLES.find("\nREADME").unwrap();
        let job = files::JobFile::parse("coat.toml".as_ref(), &EXAMPLES[start..end]).unwrap();
        assert_eq!(job.spec().guides[0].count, Some(12));
    }
}

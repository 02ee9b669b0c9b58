//! The command line's words.

use std::path::PathBuf;

use clap::{Args as Group, Parser, Subcommand, ValueEnum};

/// Lays a light, all-quad surface over a dense sculpt, along the guides drawn on it.
#[derive(Debug, Parser)]
#[command(name = "loopwright", version, about, after_help = "Exit status: 0 ready, 1 made but a check fails, 2 refused (nothing written).")]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    pub verb: Verb,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Run a job file: write surface.obj, surface.glb, findings.json and report.html.
    Run(Run),
    /// Make the lighthouse keeper's oilskin coat and its job file, run it, leave the report.
    Demo(Demo),
}

/// Options of every verb.
#[derive(Debug, Group)]
pub struct Common {
    /// Threads to use; 0 takes all cores. The result is the same for any number.
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub threads: usize,
    /// Print the findings as JSON on standard output.
    #[arg(long)]
    pub json: bool,
    /// Print nothing but errors.
    #[arg(long, short, conflicts_with = "verbose")]
    pub quiet: bool,
    /// Print every finding and the time of each stage.
    #[arg(long, short)]
    pub verbose: bool,
    /// Height of the report's pictures in pixels; 0 leaves pictures out.
    #[arg(long, value_name = "PIXELS", default_value_t = 900)]
    pub pictures: u32,
}

/// Options of `run`.
#[derive(Debug, Group)]
pub struct Run {
    /// The job file (TOML).
    pub job: PathBuf,
    /// Folder for the results; made if it isn't there.
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Faces of the whole surface, instead of the job's.
    #[arg(long, value_name = "N", conflicts_with = "edge")]
    pub faces: Option<u32>,
    /// Edge length in the job's units, instead of the job's density.
    #[arg(long, value_name = "LENGTH")]
    pub edge: Option<f64>,
    /// How far the size follows curvature, 0 to 1, instead of the job's.
    #[arg(long, value_name = "SHARE")]
    pub adapt: Option<f64>,
    /// Mirror plane, instead of the job's.
    #[arg(long, value_enum)]
    pub plane: Option<PlaneWord>,
    /// What the mirrored side becomes, instead of the job's.
    #[arg(long, value_enum)]
    pub sides: Option<SidesWord>,
    /// Common options.
    #[command(flatten)]
    pub common: Common,
}

/// Options of `demo`.
#[derive(Debug, Group)]
pub struct Demo {
    /// Folder for sculpt, job and results; made if it isn't there.
    #[arg(long, value_name = "DIR", default_value = "out/demo")]
    pub out: PathBuf,
    /// Triangles of the sculpt.
    #[arg(long, value_name = "N", default_value_t = 1_000_000)]
    pub triangles: usize,
    /// Faces of the surface.
    #[arg(long, value_name = "N", default_value_t = 1800)]
    pub faces: u32,
    /// Common options.
    #[command(flatten)]
    pub common: Common,
}

/// Planes by name.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum PlaneWord {
    /// Through the origin, square to x.
    X,
    /// Through the origin, square to y.
    Y,
    /// Through the origin, square to z.
    Z,
    /// Found from the sculpt.
    Find,
    /// No symmetry.
    None,
}

/// What the mirrored side becomes.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum SidesWord {
    /// An exact copy.
    Mirror,
    /// The same topology, each side on its own surface.
    Fit,
}

impl Args {
    /// Options that every verb has.
    pub fn common(&self) -> &Common {
        match &self.verb {
            Verb::Run(run) => &run.common,
            Verb::Demo(demo) => &demo.common,
        }
    }
}

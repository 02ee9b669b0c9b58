//! Folders, jobs and the binary itself.

use std::f64::consts::{FRAC_PI_6, TAU};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

use mesh::DVec3;
use serde_json::Value;

/// A new, empty folder that is removed in the end.
pub struct Folder(pub PathBuf);

impl Folder {
    pub fn new() -> Self {
        static NUMBER: AtomicUsize = AtomicUsize::new(0);
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let name = format!("loopwright-end-to-end-{}-{number}", std::process::id());
        let path = std::env::temp_dir().join(name);
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    pub fn join(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    pub fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.join(name);
        fs::write(&path, bytes).unwrap();
        path
    }

    /// Names in the folder, sorted.
    pub fn names(&self) -> Vec<String> {
        names_in(&self.0)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

pub fn names_in(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let names = entries.map(|e| e.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = names.collect();
    names.sort();
    names
}

/// What the binary did.
#[derive(Debug)]
pub struct Run {
    pub status: Option<i32>,
    pub stdout: String,
    pub stderr: String,
}

impl Run {
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.stdout).unwrap()
    }
}

pub fn command(words: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_loopwright"));
    command.args(words);
    command
}

/// Runs the binary.
pub fn loopwright(words: &[&str]) -> Run {
    let Output {
        status,
        stdout,
        stderr,
    } = command(words).output().unwrap();
    Run {
        status: status.code(),
        stdout: String::from_utf8(stdout).unwrap(),
        stderr: String::from_utf8(stderr).unwrap(),
    }
}

pub fn word(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// A guide of a job.
#[derive(Clone)]
pub struct Drawn {
    pub name: &'static str,
    pub kind: &'static str,
    pub count: Option<u32>,
    pub points: Vec<DVec3>,
}

impl Drawn {
    fn text(&self) -> String {
        let count = self.count.map(|n| format!("count = {n}\n"));
        let points: Vec<String> = self.points.iter().map(|p| format!("{p}")).collect();
        format!(
            "[[guide]]\nname = \"{}\"\nkind = \"{}\"\n{}points = [{}]\n",
            self.name,
            self.kind,
            count.unwrap_or_default(),
            points.join(", ")
        )
    }
}

/// A sleeve's sculpt, a tube with one bend, and the job for it.
pub struct Sleeve {
    pub head: String,
    pub guides: Vec<Drawn>,
}

/// Radius of the sleeve, cm.
pub const RADIUS: f64 = 4.0;

impl Sleeve {
    pub fn new() -> Self {
        let head = "job = 1\nname = \"oilskin sleeve\"\nunits = \"cm\"\n\n[sculpt]\n\
            file = \"sleeve.ply\"\n\n[symmetry]\nplane = \"z\"\n\n[density]\nfaces = 300\n\n";
        let guide = |name, kind, middle, along| Drawn {
            name,
            kind,
            count: Some(12),
            points: circle(middle, along),
        };
        let (sin, cos) = FRAC_PI_6.sin_cos();
        let elbow = DVec3::new(14.0 * (1.0 - cos), 16.0 + 14.0 * sin, 0.0);
        Self {
            head: head.to_owned(),
            guides: vec![
                guide("shoulder", "opening", DVec3::ZERO, DVec3::Y),
                guide("elbow", "ring", elbow, DVec3::new(sin, cos, 0.0)),
                guide("wrist", "opening", DVec3::new(30.0, 30.0, 0.0), DVec3::X),
            ],
        }
    }

    pub fn text(&self) -> String {
        let mut text = self.head.clone();
        for guide in &self.guides {
            let _ = writeln!(text, "{}", guide.text());
        }
        text
    }

    /// Writes sculpt and job into a folder; the job's path.
    pub fn put(&self, folder: &Folder) -> PathBuf {
        folder.write("sleeve.ply", sleeve_ply());
        folder.write("sleeve.toml", self.text())
    }

    /// Line of a guide's table in the job, from 1.
    pub fn line_of(&self, guide: &str) -> usize {
        let text = self.text();
        let name = format!("name = \"{guide}\"");
        text.lines().position(|line| line == name).unwrap()
    }
}

pub fn sleeve_ply() -> Vec<u8> {
    files::ply_bytes(&demo::bent_tube(20_000))
}

/// Points on a circle of the sleeve's radius in a plane that is square to the z axis's.
fn circle(middle: DVec3, along: DVec3) -> Vec<DVec3> {
    let out = along.cross(DVec3::Z);
    let point = |i: i32| {
        let (sin, cos) = (TAU * f64::from(i) / 24.0).sin_cos();
        middle + RADIUS * (cos * out + sin * DVec3::Z)
    };
    (0..24).map(point).collect()
}

/// A small oilskin coat and its job, made once by `loopwright demo` itself and run with two
/// threads.
pub fn coat() -> &'static (Folder, Run) {
    static COAT: OnceLock<(Folder, Run)> = OnceLock::new();
    COAT.get_or_init(|| {
        let folder = Folder::new();
        let words =
            "demo --only-coat --triangles 60000 --faces 1400 --pictures 64 --threads 2 --out";
        let mut words: Vec<&str> = words.split(' ').collect();
        words.push(word(&folder.0));
        let run = loopwright(&words);
        (folder, run)
    })
}

//! Opening a job or a sculpt, on a thread of its own.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::sync::{Arc, Mutex, PoisonError};

use base::{Findings, Task};
use demo::DemoOptions;
use files::{GuideKind, GuideSpec, JobFile, JobSpec, PlaneSpec};
use mesh::TriMesh;
use session::draw::Pen;
use session::{Document, LayerFiles, Recovery, Watched};

/// Triangles of the example's sculpt.
const EXAMPLE_TRIANGLES: usize = 200_000;
/// Vertices beyond which a lighter sculpt is shown while the view turns.
const LIGHT: usize = 60_000;

/// What to open.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Start {
    /// A job file.
    Job(PathBuf),
    /// A sculpt, for a new job.
    Sculpt(PathBuf),
    /// The keeper's coat, made in a folder for temporary files.
    Example,
}

impl Start {
    /// A job or a sculpt, told by the file's name.
    pub fn of_file(path: &Path) -> Self {
        if path
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("toml"))
        {
            Self::Job(path.to_owned())
        } else {
            Self::Sculpt(path.to_owned())
        }
    }

    /// What is being opened, for people.
    pub fn words(&self) -> String {
        match self {
            Self::Job(path) | Self::Sculpt(path) => path.display().to_string(),
            Self::Example => "the keeper's coat".to_owned(),
        }
    }
}

/// What was opened.
pub struct Opened {
    /// The job.
    pub document: Document,
    /// What an earlier desk left unsaved.
    pub recovery: Option<Recovery>,
    /// A pen over its sculpt.
    pub pen: Arc<Pen>,
    /// A lighter sculpt to turn, for large ones.
    pub light: Option<TriMesh>,
    /// The job's layers, as far as they can be read: the worker says what can't.
    pub layers: LayerFiles,
    /// What reading and intake found.
    pub findings: Findings,
    /// Its files as they were read.
    pub watched: Watched,
}

/// An opening under way.
pub struct Opening {
    /// What is being opened, for people.
    pub words: String,
    /// Stage and share, as last reported.
    progress: Arc<Mutex<(String, f32)>>,
    task: Task,
    result: Receiver<Result<Box<Opened>, String>>,
}

impl Opening {
    /// Starts to open; `notify` is called whenever there is news.
    pub fn start(start: Start, notify: impl Fn() + Clone + Send + Sync + 'static) -> Self {
        let (sender, result) = channel();
        let progress: Arc<Mutex<(String, f32)>> = Arc::default();
        let of_task = Arc::clone(&progress);
        let words = start.words();
        let bell = notify.clone();
        let task = Task::with_progress(move |stage, share| {
            *of_task.lock().unwrap_or_else(PoisonError::into_inner) = (stage.to_owned(), share);
            bell();
        });
        let of_thread = task.clone();
        std::thread::spawn(move || {
            // Nobody may be waiting any more.
            let _ = sender.send(open(start, &of_thread).map(Box::new));
            notify();
        });
        Self {
            words,
            progress,
            task,
            result,
        }
    }

    /// Stage and share.
    pub fn progress(&self) -> (String, f32) {
        self.progress
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// The result, once it is there.
    pub fn poll(&self) -> Option<Result<Box<Opened>, String>> {
        match self.result.try_recv() {
            Ok(result) => Some(result),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Err(
                "There is a fault in Loopwright: this file ended it".to_owned(),
            )),
        }
    }
}

impl Drop for Opening {
    fn drop(&mut self) {
        self.task.cancel();
    }
}

fn open(start: Start, task: &Task) -> Result<Opened, String> {
    let start = match start {
        Start::Example => Start::Job(example(task)?),
        other => other,
    };
    let opened = match &start {
        Start::Job(path) => Document::open(path),
        Start::Sculpt(path) => Document::for_sculpt(path),
        Start::Example => return Err("the example can't be made".to_owned()),
    };
    let (document, recovery) = opened.map_err(|e| e.to_string())?;
    let (file, spec) = (document.file(), document.spec());
    let guides = session::guides_of(spec);
    let part = spec.sculpt.part.as_ref();
    let taken = session::take_in(&file.sculpt_path(), part, &guides, task, |_| {});
    let (sculpt, findings) = taken.map_err(|e| e.to_string())?;
    let light = (sculpt.mesh.positions.len() > LIGHT)
        .then(|| mesh::decimate_in_sweeps(&sculpt.mesh, LIGHT / 2));
    let mut layers = LayerFiles::default();
    drop(layers.each(file, spec));
    let pen = Pen::new(sculpt).map_err(|e| e.to_string())?;
    Ok(Opened {
        watched: Watched::of(&document),
        document,
        recovery,
        pen: Arc::new(pen),
        light,
        layers,
        findings,
    })
}

/// Writes the keeper's coat and its job where temporary files go, unless they are there.
fn example(task: &Task) -> Result<PathBuf, String> {
    let folder = std::env::temp_dir().join("loopwright-example");
    let path = folder.join("coat.toml");
    if path.exists() && folder.join("oilskin.ply").exists() {
        return Ok(path);
    }
    let options = DemoOptions {
        triangles: EXAMPLE_TRIANGLES,
        ..DemoOptions::default()
    };
    let coat = demo::coat(&options, task).map_err(|e| e.to_string())?;
    let mut spec = JobSpec::new("oilskin coat", "oilskin.ply");
    spec.symmetry.plane = PlaneSpec::X;
    spec.guides = coat.guides.iter().map(guide).collect();
    let job = JobFile::create(&path, &spec).map_err(|e| e.to_string())?;
    let sculpt = files::ply_bytes(&coat.mesh);
    std::fs::create_dir_all(&folder).map_err(|e| e.to_string())?;
    let text = job.text();
    let all = [("oilskin.ply", &sculpt[..]), ("coat.toml", text.as_bytes())];
    files::write_all_or_none(&folder, &all).map_err(|e| e.to_string())?;
    Ok(path)
}

fn guide(guide: &demo::DemoGuide) -> GuideSpec {
    GuideSpec {
        closed: guide.closed,
        count: guide.count,
        ..GuideSpec::new(
            &guide.name,
            GuideKind::of_word(guide.kind),
            guide.points.clone(),
        )
    }
}

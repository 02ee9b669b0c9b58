//! What each part of a figure is to do.

use std::path::{Path, PathBuf};

use files::{FigureFile, FigurePart, FigureSpec, JobFile, JobSpec, LayerSpec, PartFrom, PlaneSpec};

use crate::job::{self, Order};
use crate::refusal::Refusal;

/// The file of a part's surface.
pub const SURFACE: &str = "surface.obj";

/// A figure with the jobs of its parts, read and found sound before anything is run.
pub struct Plan<'a> {
    /// The set file.
    pub figure: &'a FigureFile,
    /// Folder of all results.
    pub out: PathBuf,
    /// Job of each part as its file says; none for images.
    jobs: Vec<Option<JobFile>>,
    faces: Vec<Option<u32>>,
}

impl<'a> Plan<'a> {
    /// Reads the jobs of a figure's parts.
    ///
    /// # Errors
    /// [`Refusal`] with the part whose job can't be used.
    pub fn of(figure: &'a FigureFile, out: &Path) -> Result<Self, Refusal> {
        let spec = figure.spec();
        let read = |part: &FigurePart| match &part.from {
            PartFrom::Job(file) => Ok(Some(job::read(&figure.job_path(file))?)),
            PartFrom::Image(_) => Ok(None),
        };
        let jobs: Vec<Option<JobFile>> = spec
            .parts
            .iter()
            .map(read)
            .collect::<Result<_, Refusal>>()?;
        // Layers of parts are named by where their results lie, wherever the job lies.
        let out = std::path::absolute(out).unwrap_or_else(|_| out.to_owned());
        let plan = Self {
            faces: spec.faces(),
            figure,
            out,
            jobs,
        };
        for (number, job) in plan.jobs.iter().enumerate() {
            if let Some(job) = job {
                plan.check_part(number, job)?;
                plan.order(number)?;
            }
        }
        Ok(plan)
    }

    /// Whether a part's job goes with the figure.
    fn check_part(&self, number: usize, job: &JobFile) -> Result<(), Refusal> {
        let part = &self.spec().parts[number];
        let mut units = self.jobs.iter().flatten().map(|job| &job.spec().units);
        let first = units.next();
        if let Some(first) = first.filter(|first| **first != job.spec().units) {
            return Err(Refusal::UnitsDiffer {
                place: self.place(part),
                part: part.name.clone(),
                units: job.spec().units.clone(),
                others: first.clone(),
            });
        }
        let of_parts = |layer: &&LayerSpec| {
            let mut over = part.over.iter();
            over.any(|&under| self.spec().parts[under].name == layer.name)
        };
        if let Some(layer) = job.spec().layers.iter().find(of_parts) {
            return Err(Refusal::LayerTwice {
                place: format!("{}:{}: ", job.path().display(), layer.line),
                layer: layer.name.clone(),
            });
        }
        Ok(())
    }

    /// What the figure asks for.
    pub fn spec(&self) -> &'a FigureSpec {
        self.figure.spec()
    }

    /// Folder of a part's results.
    pub fn folder(&self, part: usize) -> PathBuf {
        self.out.join(self.spec().parts[part].folder())
    }

    /// A part's surface: the file that is a layer of parts over it.
    pub fn surface(&self, part: usize) -> PathBuf {
        self.folder(part).join(SURFACE)
    }

    /// The place of a part in the set file: `keeper.toml:9: `.
    pub fn place(&self, part: &FigurePart) -> String {
        format!("{}:{}: ", self.figure.path().display(), part.line)
    }

    /// Files that nothing may replace.
    pub fn inputs(&self) -> Vec<&Path> {
        let jobs = self.jobs.iter().flatten().map(JobFile::path);
        jobs.chain([self.figure.path()]).collect()
    }

    /// The job of a part with all that the figure says on top of it: faces, plane, and the parts
    /// beneath as layers.
    ///
    /// # Errors
    /// [`Refusal`] for what the job can't be asked for.
    pub fn order(&self, number: usize) -> Result<Order, Refusal> {
        let part = &self.spec().parts[number];
        let Some(job) = self.jobs.get(number).and_then(Option::as_ref) else {
            return Err(Refusal::Fault);
        };
        let mut spec: JobSpec = job.spec().clone();
        if let Some(faces) = self.faces[number] {
            spec.set_faces(faces).map_err(|fault| Refusal::Set {
                place: self.place(part),
                fault: Box::new(fault),
            })?;
        }
        if let Some(plane) = self.spec().plane {
            spec.symmetry.plane = if part.symmetric {
                plane
            } else {
                PlaneSpec::None
            };
        }
        spec.layers.extend(part.over.iter().map(|&under| {
            LayerSpec::new(
                &self.spec().parts[under].name,
                self.surface(under),
                part.clearance,
            )
        }));
        Order::with_spec(job.clone(), spec)
    }
}

//! A job file with the command line's overrides.

use std::path::{Path, PathBuf};

use engine::model::Hold;
use files::{JobError, JobFault, JobFile, JobSpec};
use session::{CompleteError, LayerFiles, SessionError, Settings};

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
    /// Layers that were read by now.
    pub read: LayerFiles,
}

impl Order {
    /// A job file without overrides.
    pub fn of(file: JobFile) -> Self {
        Self {
            spec: file.spec().clone(),
            text: file.text(),
            read: LayerFiles::default(),
            file,
        }
    }

    /// Applies the overrides of `run`.
    ///
    /// # Errors
    /// [`Refusal::Option`] for a value that a job can't have.
    pub fn with_overrides(file: JobFile, args: &args::Run) -> Result<Self, Refusal> {
        let mut spec = file.spec().clone();
        override_spec(&mut spec, args)?;
        Self::with_spec(file, spec)
    }

    /// A job file that asks for something else than it says.
    ///
    /// # Errors
    /// [`Refusal::Job`] for what no job can have.
    pub fn with_spec(file: JobFile, spec: JobSpec) -> Result<Self, Refusal> {
        let text = text_with(&file, &spec)?;
        Ok(Self {
            file,
            spec,
            text,
            read: LayerFiles::default(),
        })
    }

    /// The job file and all files that it names, with those that are read with them.
    pub fn sources(&self) -> Vec<PathBuf> {
        let holds = self.spec.holds.iter().map(|h| self.file.hold_path(h));
        let layers = self.spec.layers.iter().map(|l| self.file.layer_path(l));
        let mut sources = vec![self.file.path().to_owned(), self.file.sculpt_path()];
        sources.extend(holds.chain(layers));
        let beside = sources
            .iter()
            .flat_map(|path| files::read_with_sculpt(path));
        let beside: Vec<PathBuf> = beside.collect();
        sources.extend(beside);
        sources
    }

    /// What the session is to do.
    ///
    /// # Errors
    /// [`Refusal::Read`] with the line of a hold whose file can't be used.
    pub fn settings(&self) -> Result<Settings, Refusal> {
        let read = |source| self.hold_refusal(source);
        session::settings_of(&self.file, &self.spec).map_err(read)
    }

    /// The held quads, read from their files.
    ///
    /// # Errors
    /// [`Refusal::Read`] with the hold's line.
    pub fn holds(&self) -> Result<Vec<Hold>, Refusal> {
        let read = |source| self.hold_refusal(source);
        session::holds_of(&self.file, &self.spec).map_err(read)
    }

    /// The layers, read from their files if they weren't yet.
    ///
    /// # Errors
    /// [`Refusal::Layer`] with the layer's line.
    pub fn layers(&self) -> Result<Vec<finish::layers::Layer>, Refusal> {
        let layers = self.read.clone().all(&self.file, &self.spec);
        layers.map_err(|source| Refusal::Layer {
            place: format!("{}:{}: ", self.file.path().display(), source.line),
            source: source.into(),
        })
    }

    /// What is wrong with a hold's file, with the job file and the hold's line.
    pub fn hold_refusal(&self, problem: session::HoldFileError) -> Refusal {
        Refusal::Read {
            place: format!(
                "{}:{}: hold '{}': ",
                self.file.path().display(),
                problem.line,
                problem.hold
            ),
            source: problem.source,
        }
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
        Refusal::Stage {
            place: self.places_named(&source.to_string()),
            source: source.into(),
        }
    }

    /// Why a surface doesn't come to the end of its job; of trims with the job file and the line.
    pub fn complete_refusal(&self, problem: CompleteError) -> Refusal {
        let file = self.file.path().display().to_string();
        match problem {
            CompleteError::Check(source) => Refusal::Check {
                surface: file,
                source,
            },
            CompleteError::Finish(source) => Refusal::Finish {
                place: self.places_named(&source.to_string()),
                source: source.into(),
            },
            CompleteError::Layers(source) => Refusal::Clear {
                file,
                source: source.into(),
            },
        }
    }

    /// The job file and the lines of what a message names.
    fn places_named(&self, message: &str) -> String {
        session::places_named(self.file.spec(), self.file.path().display(), message)
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

/// Puts the overrides of `run` into what a job asks for.
///
/// # Errors
/// [`Refusal::Option`] for a value that no job can have.
pub fn override_spec(spec: &mut JobSpec, args: &args::Run) -> Result<(), Refusal> {
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
    Ok(())
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

#[cfg(test)]
mod tests {
    use super::*;
    use finish::layers::{Layer, Side};

    const COAT: &str = "job = 1\n[sculpt]\nfile = 'oilskin.ply'\n\
        [[guide]]\nname = 'hem'\nkind = 'opening'\npoints = [[0,0,0],[1,0,0],[0,0,1]]\n\
        [[guide]]\nname = 'waist'\nkind = 'ring'\npoints = [[0,9,0],[1,9,0],[0,9,1]]\n";

    fn order() -> Order {
        Order::of(JobFile::parse("coat.toml".as_ref(), COAT).unwrap())
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
    fn a_layer_that_was_read_by_now_is_not_read_again() {
        let layer = "[[layer]]\nname = 'jersey'\nfile = 'none.ply'\nclearance = 0.3\n";
        let text = format!("{COAT}{layer}");
        let mut order = Order::of(JobFile::parse("coat.toml".as_ref(), &text).unwrap());
        let refusal = order.layers().unwrap_err().to_string();
        assert!(
            refusal.starts_with("coat.toml:12: layer 'jersey'"),
            "{refusal}"
        );
        let mesh = mesh::TriMesh {
            positions: vec![mesh::Vec3::ZERO, mesh::Vec3::X, mesh::Vec3::Y],
            triangles: vec![[0, 1, 2]],
        };
        let layer = Layer::new("", &mesh, Side::Under, 1.0);
        order.read.add("none.ply".into(), layer);
        let layers = order.layers().unwrap();
        assert_eq!(
            (layers[0].name.as_str(), layers[0].clearance),
            ("jersey", 0.3)
        );
        assert_eq!(layers[0].mesh.mesh.triangles, [[0, 1, 2]]);
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
}

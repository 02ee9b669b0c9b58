//! The desk's state, and one frame of it.

use std::sync::Arc;
use std::time::Duration;

use base::{Findings, Level};
use mesh::{DVec3, QuadMesh};
use session::draw::{Pen, QuadIndex};
use session::{
    Changed, Completed, Document, Event, Lookout, Order, Outcome, Recovery, Way, Worker,
};

use crate::hand::Hand;
use crate::opening::{Opened, Opening, Start};
use crate::sheets::FileSheet;
use crate::view::{Shown, View};

/// Shortest time between two pictures that only show that work goes on: it reports far more often.
const NEWS: Duration = Duration::from_millis(50);
/// How often files are looked at for changes from outside.
const LOOK_OUTSIDE: Duration = Duration::from_secs(1);

/// Everything about the job on the desk.
pub(crate) struct Job {
    pub document: Document,
    pub pen: Arc<Pen>,
    pub worker: Option<Worker>,
    /// What an earlier desk left, to be offered.
    pub recovery: Option<Recovery>,
    /// What intake found.
    pub taken: Findings,
    /// The last run: the surface without trims, where it lies before layers move it.
    pub outcome: Option<Arc<Outcome>>,
    /// That surface at the end of the job, once it is there.
    pub done: Option<Arc<Completed>>,
    /// The surface that was at the end of its job before.
    pub before: Option<Arc<Completed>>,
    /// The surface that is shown, to be asked what lies under the pen.
    pub quads: Option<QuadIndex>,
    /// Whether the next order is to read layers anew.
    pub reads_layers: bool,
    /// Quads that the job holds, by their corners.
    pub held: Vec<engine::model::Hold>,
    /// Why there is no surface for the newest state.
    pub refusal: Option<String>,
    /// Stage under way and its share.
    pub progress: Option<(String, f32)>,
    /// The newest order.
    pub stamp: u64,
    /// Text that the newest order was made from.
    pub ordered: String,
    /// Looks whether files change outside; `None` where there is no thread for it.
    pub lookout: Option<Lookout>,
    /// What changed outside, to be offered for reading anew.
    pub outside: Vec<Changed>,
}

/// The desk.
pub struct Desk {
    pub(crate) job: Option<Job>,
    pub(crate) opening: Option<Opening>,
    pub(crate) view: View,
    pub(crate) hand: Hand,
    /// Name of the guide that is picked.
    pub(crate) picked: Option<String>,
    /// Name of the trim that is picked.
    pub(crate) picked_trim: Option<String>,
    /// Name of the layer that is picked.
    pub(crate) picked_layer: Option<String>,
    /// Name as it is being typed.
    pub(crate) renaming: Option<String>,
    /// The last thing that the desk has to say, and whether it is a trouble.
    pub(crate) word: Option<(String, bool)>,
    pub(crate) help: bool,
    /// Whether the last step was an edit of the surface, of which nothing is known yet.
    pub(crate) edited: bool,
    /// The file that is asked for.
    pub(crate) file_sheet: Option<FileSheet>,
    /// The finding that is shown.
    pub(crate) finding: Option<usize>,
    pub(crate) asks_to_close: bool,
    pub(crate) wake: egui::Context,
}

impl Desk {
    /// A desk that begins to open something.
    pub fn new(ctx: &egui::Context, start: Start) -> Self {
        let mut desk = Self {
            job: None,
            opening: None,
            view: View::default(),
            hand: Hand::Look,
            picked: None,
            picked_trim: None,
            picked_layer: None,
            renaming: None,
            word: None,
            help: start == Start::Example,
            finding: None,
            edited: false,
            file_sheet: None,
            asks_to_close: false,
            wake: ctx.clone(),
        };
        desk.open(start);
        desk
    }

    /// The job's text as it stands on the desk; `None` while nothing is open.
    pub fn text(&self) -> Option<&str> {
        self.job.as_ref().map(|job| job.document.text())
    }

    /// The surface that is shown, with what the job adds to it; `None` before the first.
    pub fn surface(&self) -> Option<&QuadMesh> {
        self.job.as_ref()?.surface()
    }

    /// Whether something is opened or computed.
    pub fn is_busy(&self) -> bool {
        let at_work =
            |job: &Job| job.progress.is_some() || job.worker.as_ref().is_some_and(Worker::is_busy);
        self.opening.is_some() || self.job.as_ref().is_some_and(at_work)
    }

    /// Where a point of the model is on the screen, points of the window; `None` if it isn't.
    pub fn place_of(&self, p: DVec3) -> Option<egui::Pos2> {
        self.view.place_of(p)
    }

    /// Begins to open something; what is open stays until it is there.
    pub(crate) fn open(&mut self, start: Start) {
        let ctx = self.wake.clone();
        self.opening = Some(Opening::start(start, move || {
            ctx.request_repaint_after(NEWS)
        }));
    }

    fn opened(&mut self, opened: Opened) {
        let Opened {
            document,
            recovery,
            pen,
            light,
            layers,
            findings,
            watched,
        } = opened;
        let ctx = self.wake.clone();
        let started = Worker::start(pen.sculpt().clone(), layers, move || {
            ctx.request_repaint_after(NEWS)
        });
        let worker = match started {
            Ok(worker) => Some(worker),
            Err(problem) => {
                self.word = Some((format!("No surface can be made: {problem}"), true));
                None
            }
        };
        let ctx = self.wake.clone();
        // Without a thread for it nothing is noticed; everything else goes on.
        let lookout = Lookout::start(watched, LOOK_OUTSIDE, move || ctx.request_repaint()).ok();
        self.view.show_sculpt(pen.sculpt(), light);
        self.view.show_layers(&[]);
        self.job = Some(Job {
            lookout,
            document,
            pen,
            worker,
            recovery,
            taken: findings,
            outcome: None,
            done: None,
            before: None,
            quads: None,
            reads_layers: false,
            held: Vec::new(),
            refusal: None,
            progress: None,
            stamp: 0,
            ordered: String::new(),
            outside: Vec::new(),
        });
        (self.picked, self.finding) = (None, None);
        (self.picked_trim, self.picked_layer) = (None, None);
        self.order();
    }

    /// Asks for a surface of the newest state, if it isn't asked for already.
    pub(crate) fn order(&mut self) {
        let Some(job) = &mut self.job else {
            return;
        };
        if job.ordered == job.document.text() {
            return;
        }
        job.ordered = job.document.text().to_owned();
        job.stamp += 1;
        job.refusal = None;
        self.view.guides_changed();
        if let Some(lookout) = &job.lookout {
            lookout.follow(job.document.file());
        }
        let settings = session::settings_of(job.document.file(), job.document.spec());
        match (settings, &job.worker) {
            (Ok(settings), Some(worker)) => {
                job.held.clone_from(&settings.holds);
                job.progress = Some(("guides".to_owned(), 0.0));
                worker.submit(Order {
                    stamp: job.stamp,
                    job: job.document.file().clone(),
                    settings,
                    way: Way {
                        straddle: job.document.spec().density.straddle,
                        ..Way::default()
                    },
                    reads_layers: std::mem::take(&mut job.reads_layers),
                });
            }
            (Err(problem), _) => job.refusal = Some(problem.to_string()),
            (Ok(_), None) => {}
        }
    }

    /// Takes in what threads have to say.
    fn hear(&mut self) {
        if let Some(result) = self.opening.as_ref().and_then(Opening::poll) {
            self.opening = None;
            match result {
                Ok(opened) => self.opened(*opened),
                Err(problem) => self.word = Some((problem, true)),
            }
        }
        let Some(job) = &mut self.job else {
            return;
        };
        let events = job.worker.as_ref().map(Worker::poll).unwrap_or_default();
        for event in events {
            match event {
                Event::Progress {
                    stamp,
                    stage,
                    share,
                } if stamp == job.stamp => {
                    job.progress = Some((stage, share));
                }
                Event::Layers { stamp, layers } if stamp == job.stamp => {
                    self.view.show_layers(&layers);
                }
                Event::Surface { stamp, outcome, .. } if stamp == job.stamp => {
                    if std::mem::take(&mut self.edited)
                        && let Some(sentence) = unplayed(&outcome)
                    {
                        self.word = Some((sentence, true));
                    }
                    if job.outcome.is_none() && self.view.sculpt == Shown::Full {
                        // From now on the surface is what is looked at.
                        self.view.sculpt = Shown::Ghost;
                    }
                    self.finding = None;
                    let same = |last: &Arc<Outcome>| Arc::ptr_eq(last, &outcome);
                    // Another trim or layer: what is there stays until it is there.
                    if !job.outcome.as_ref().is_some_and(same) {
                        self.view.surface_changed(job.stood(outcome).as_ref());
                    }
                }
                Event::Completed { stamp, done } if stamp == job.stamp => {
                    job.progress = None;
                    if let Some(before) = job.completed(done) {
                        self.view.surface_changed(before.as_ref());
                    }
                }
                Event::Refused { stamp, message } if stamp == job.stamp => {
                    job.refusal = Some(message);
                    job.progress = None;
                }
                // Of an older state.
                _ => {}
            }
        }
        let changed = job.lookout.as_ref().map(Lookout::poll).unwrap_or_default();
        for what in changed {
            // What was written here is no news.
            if what != Changed::Job || !job.document.is_as_written() {
                job.outside.push(what);
            }
        }
        job.outside.sort_unstable();
        job.outside.dedup();
    }
}

/// Why the last edit isn't in a surface, if it isn't.
fn unplayed(outcome: &Outcome) -> Option<String> {
    let of_edits = ["edit-played", "edit-refused", "edit-no-place"];
    let told = outcome.findings.iter();
    let last = told
        .filter(|f| of_edits.contains(&f.code.as_str()))
        .last()?;
    (last.code != of_edits[0]).then(|| last.sentence.clone())
}

impl Job {
    /// The surface that is shown: at the end of the job, or as the run left it.
    pub fn surface(&self) -> Option<&QuadMesh> {
        match (&self.done, &self.outcome) {
            (Some(done), _) => Some(&done.surface),
            (None, Some(outcome)) => Some(&outcome.surface),
            (None, None) => None,
        }
    }

    /// The run's own part of the surface that is shown, where it is shown: without trims. Empty before
    /// the first surface.
    pub fn own_part(&self) -> QuadMesh {
        let Some(outcome) = &self.outcome else {
            return QuadMesh::default();
        };
        let mut own = outcome.surface.clone();
        if let Some(shown) = self.surface() {
            let places = own.positions.iter_mut().zip(&shown.positions);
            places.for_each(|(p, shown)| *p = *shown);
        }
        own
    }

    /// Whether the job asks for more than the run's own surface.
    fn asks_for_more(&self) -> bool {
        let spec = self.document.spec();
        !spec.trims.is_empty() || spec.lining.is_some() || !spec.layers.is_empty()
    }

    /// Takes in a run's surface. Answers the one that it takes the place of, to be told apart from it,
    /// unless the end of the job follows.
    fn stood(&mut self, outcome: Arc<Outcome>) -> Option<QuadMesh> {
        let before = self.surface().filter(|_| !self.asks_for_more()).cloned();
        if let Some(done) = self.done.take() {
            self.before = Some(done);
        }
        self.quads = Some(QuadIndex::new(&outcome.surface));
        self.outcome = Some(outcome);
        before
    }

    /// Takes in the end of the job. If that is another surface than the run's, answers the one that was
    /// there before.
    fn completed(&mut self, done: Arc<Completed>) -> Option<Option<QuadMesh>> {
        let same = self.surface() == Some(&done.surface);
        let before = self.before.take().or(self.done.take());
        if !same {
            self.quads = Some(QuadIndex::new(&done.surface));
        }
        self.done = Some(done);
        (!same).then(|| before.map(|before| before.surface.clone()))
    }

    /// All findings about the newest surface, what needs the artist first.
    pub fn findings(&self) -> Vec<&base::Finding> {
        let run = self.outcome.as_ref().map(|o| o.findings.iter());
        let done = self.done.as_ref().map(|done| done.findings.iter());
        let all = done
            .into_iter()
            .flatten()
            .chain(run.into_iter().flatten())
            .chain(self.taken.iter());
        let mut all: Vec<&base::Finding> = all.filter(|f| f.level != Level::Pass).collect();
        // Poles are many, and each is a note.
        all.sort_by_key(|f| (std::cmp::Reverse(f.level), f.code == "pole"));
        all
    }

    /// The plane that is in use: the last surface's, or the job's if it is given.
    pub fn plane(&self) -> Option<engine::model::Plane> {
        use engine::symmetry::PlaneChoice;
        match session::plane_of(self.document.spec().symmetry.plane) {
            PlaneChoice::Given(plane) => Some(plane),
            PlaneChoice::Find => self.outcome.as_ref().and_then(|o| o.plane),
            PlaneChoice::None => None,
        }
    }

    /// Length of a quad's edge, model units; a guess before the first surface.
    pub fn edge(&self) -> f64 {
        let edge = self.outcome.as_ref().map(|o| o.edge);
        edge.unwrap_or_else(|| 0.02 * self.pen.sculpt().mesh.diagonal())
    }

    /// Distance by which simplified guides may leave what was drawn: a part of a quad's edge.
    pub fn tolerance(&self) -> f64 {
        0.03 * self.edge()
    }
}

impl eframe::App for Desk {
    fn ui(&mut self, ui: &mut egui::Ui, frame: &mut eframe::Frame) {
        self.hear();
        self.keys(ui.ctx());
        self.sheets(ui);
        egui::CentralPanel::no_frame().show(ui, |ui| self.see(ui, frame));
        self.order();
        self.closing(ui.ctx());
    }

    fn on_exit(&mut self) {
        if let Some(job) = &mut self.job {
            job.document.settle();
        }
    }
}

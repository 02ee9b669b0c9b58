//! `loopwright watch`: a job or a figure that runs again whenever one of its files changes.

use std::convert::Infallible;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread;
use std::time::Duration;

use base::{Cancelled, Task};
use files::{JobError, JobOrSet, JobSpec};
use session::Watched;

use crate::args;
use crate::figure;
use crate::job::{self, Order};
use crate::output::{self, Done};
use crate::progress::Meter;
use crate::refusal::Refusal;
use crate::run;
use crate::terminal;

/// Pause after which an interrupt is noticed.
const GLANCE: Duration = Duration::from_millis(50);
/// Glances from one look at the files to the next: 0.3 s, so that a file that stands still from one
/// to the next is no longer being written, and an artist doesn't wait.
const GLANCES_A_LOOK: u32 = 6;

/// Runs a job or a set, and again after each change, until cancelled. A run under way when something changes is
/// given up for a new one; a refusal is told, and the results of the run before stay.
///
/// # Errors
/// [`Refusal`] for what no change of the files could mend, and [`Refusal::Cancelled`] in the end.
pub fn run(args: &args::Run, meter: &Meter) -> Result<Infallible, Refusal> {
    job::override_spec(&mut JobSpec::new("", ""), args)?;
    output::check_folder(&args.out, &[])?;
    loop {
        let (mut watched, file) = Watched::read(&args.job);
        if let (Ok(JobOrSet::Set(_)), Some(option)) = (&file, args.of_job()) {
            return Err(Refusal::OfJob {
                option,
                set: args.job.clone(),
            });
        }
        let of_run = Meter::new(args.common.quiet);
        let work = || guarded(|| once(file, args, &of_run));
        let (outcome, changed) = while_looking(&mut watched, meter.task(), of_run.task(), work)?;
        of_run.clear_line();
        match outcome {
            Ok(done) => terminal::print_in_line(&done, &args.common),
            // It was given up, or says something of files that aren't so any more.
            Err(_) if changed || meter.task().checkpoint().is_err() => {}
            Err(refusal) => terminal::refuse_in_line(&refusal.to_string(), &args.common),
        }
        if !changed {
            of_run.show("waiting for a change; Ctrl-C ends it");
            until_changed(&mut watched, meter.task())?;
        }
        meter.task().checkpoint()?;
    }
}

/// One run.
fn once(
    file: Result<JobOrSet, JobError>,
    args: &args::Run,
    meter: &Meter,
) -> Result<Done, Refusal> {
    let (out, common) = (&args.out, &args.common);
    match file? {
        JobOrSet::Job(file) => {
            let order = Order::with_overrides(*file, args)?;
            run::results(&order, out, common, meter)
        }
        // The parts' own reports say how each went; here is one line a run.
        JobOrSet::Set(file) => figure::results(&file, out, false, common, meter, |_, _| {}),
    }
}

/// Makes a fault of the program a refusal, so that the next change finds the watch still there.
fn guarded<T>(work: impl FnOnce() -> Result<T, Refusal>) -> Result<T, Refusal> {
    // Nothing that a run leaves half done is used again.
    catch_unwind(AssertUnwindSafe(work)).unwrap_or(Err(Refusal::Fault))
}

/// Does work, and meanwhile cancels it on an interrupt and once a file has changed; whether one has.
fn while_looking<T>(
    watched: &mut Watched,
    interrupt: &Task,
    of_work: &Task,
    work: impl FnOnce() -> T,
) -> Result<(T, bool), Refusal> {
    let (done, is_done) = mpsc::channel::<()>();
    let look = move || {
        let mut glances = Glances::default();
        while is_done.recv_timeout(GLANCE) == Err(RecvTimeoutError::Timeout) {
            let changed = glances.next(watched);
            if changed || interrupt.checkpoint().is_err() {
                of_work.cancel();
            }
            if changed {
                return true;
            }
        }
        false
    };
    thread::scope(|scope| {
        let looker = thread::Builder::new().spawn_scoped(scope, look);
        let looker = looker.map_err(Refusal::Thread)?;
        let outcome = work();
        drop(done);
        Ok((outcome, looker.join().unwrap_or(false)))
    })
}

/// Waits until a file has changed.
fn until_changed(watched: &mut Watched, interrupt: &Task) -> Result<(), Cancelled> {
    let mut glances = Glances::default();
    while !glances.next(watched) {
        thread::sleep(GLANCE);
        interrupt.checkpoint()?;
    }
    Ok(())
}

/// Looks at the files now and then.
#[derive(Default)]
struct Glances(u32);

impl Glances {
    /// Whether a file has changed, if it is time for a look.
    fn next(&mut self, watched: &mut Watched) -> bool {
        self.0 = (self.0 + 1) % GLANCES_A_LOOK;
        self.0 == 0 && !watched.look_at_rest().is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_is_a_refusal_and_a_refusal_stays_what_it_is() {
        assert_eq!(guarded(|| Ok(3)).unwrap(), 3);
        let fault = guarded::<()>(|| panic!("a fault, made for the test")).unwrap_err();
        assert!(fault.to_string().contains("fault in Loopwright"), "{fault}");
        let refused = guarded::<()>(|| Err(Cancelled.into())).unwrap_err();
        assert!(matches!(refused, Refusal::Cancelled(_)), "{refused}");
    }

    /// Waits until a task is cancelled: bounded, so that a looker that doesn't look fails the test
    /// instead of holding it up.
    fn cancelled(task: &Task) -> bool {
        (0..1000).any(|_| {
            thread::sleep(GLANCE);
            task.checkpoint().is_err()
        })
    }

    #[test]
    fn an_interrupt_cancels_the_work_under_way() {
        let (interrupt, of_work) = (Task::default(), Task::default());
        interrupt.cancel();
        let mut watched = Watched::default();
        let work = || cancelled(&of_work);
        let outcome = while_looking(&mut watched, &interrupt, &of_work, work).unwrap();
        assert_eq!(outcome, (true, false));
        until_changed(&mut watched, &interrupt).unwrap_err();
    }

    #[test]
    fn a_change_cancels_the_work_under_way() {
        let name = format!("loopwright-watch-{}.toml", std::process::id());
        let job = std::env::temp_dir().join(name);
        std::fs::write(&job, "job = 1").unwrap();
        let (mut watched, _) = Watched::read(&job);
        let (interrupt, of_work) = (Task::default(), Task::default());
        let unchanged = while_looking(&mut watched, &interrupt, &of_work, || ()).unwrap();
        assert_eq!(unchanged, ((), false));
        let work = || {
            std::fs::write(&job, "job = 1 # changed").unwrap();
            cancelled(&of_work)
        };
        let outcome = while_looking(&mut watched, &interrupt, &of_work, work).unwrap();
        std::fs::remove_file(&job).unwrap();
        assert_eq!(outcome, (true, true));
    }
}

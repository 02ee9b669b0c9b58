//! Progress and cancelling of long work.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// The work was cancelled from outside; nothing was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("cancelled")]
pub struct Cancelled;

type Progress = dyn Fn(&str, f32) + Send + Sync;

/// Handle that long work reports to and asks whether to go on.
///
/// Cloning is cheap; all clones share the flag. Results never depend on it
/// other than through [`Cancelled`].
#[derive(Clone, Default)]
pub struct Task {
    cancelled: Arc<AtomicBool>,
    progress: Option<Arc<Progress>>,
}

impl Task {
    /// A task that calls `progress(stage, share)` now and then; share runs from 0 to 1.
    pub fn with_progress(progress: impl Fn(&str, f32) + Send + Sync + 'static) -> Self {
        Self {
            cancelled: Arc::default(),
            progress: Some(Arc::new(progress)),
        }
    }

    /// Asks the work to stop at its next checkpoint.
    pub fn cancel(&self) {
        self.cancelled.store(true, Ordering::Relaxed);
    }

    /// Fails if the work was cancelled.
    ///
    /// # Errors
    /// [`Cancelled`] once [`Task::cancel`] was called on any clone.
    pub fn checkpoint(&self) -> Result<(), Cancelled> {
        if self.cancelled.load(Ordering::Relaxed) {
            Err(Cancelled)
        } else {
            Ok(())
        }
    }

    /// Reports progress of a stage and fails if the work was cancelled.
    ///
    /// # Errors
    /// As [`Task::checkpoint`].
    pub fn report(&self, stage: &str, share: f32) -> Result<(), Cancelled> {
        if let Some(progress) = &self.progress {
            progress(stage, share);
        }
        self.checkpoint()
    }
}

impl std::fmt::Debug for Task {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Task")
            .field("cancelled", &self.cancelled)
            .finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cancelled_clone_stops_the_work() {
        let task = Task::default();
        assert_eq!(task.checkpoint(), Ok(()));
        task.clone().cancel();
        assert_eq!(task.report("field", 0.5), Err(Cancelled));
    }
}

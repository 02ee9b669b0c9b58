//! `loopwright-desk [JOB or SCULPT]`: the window.

use std::path::PathBuf;
use std::process::ExitCode;

use loopwright_desk::{Desk, Start};

const HELP: &str = "\
Opens the desk: guides are drawn on a sculpt, and the surface follows.

  loopwright-desk              with the example: the keeper's coat
  loopwright-desk coat.toml    with a job
  loopwright-desk coat.ply     with a sculpt (PLY, OBJ, STL, GLB): a new job for it

Keys and pointer actions are shown on the desk (F1).
Exit status: 0; 1 if no window can be opened; 2 for words that aren't understood.";

fn main() -> ExitCode {
    let words: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    let start = match words.as_slice() {
        [] => Start::Example,
        [word] if word.as_os_str() == "--help" || word.as_os_str() == "-h" => {
            println!("{HELP}");
            return ExitCode::SUCCESS;
        }
        [word] if word.to_string_lossy().starts_with('-') => return misunderstood(),
        [file] => Start::of_file(file),
        _ => return misunderstood(),
    };
    let options = eframe::NativeOptions {
        viewport: egui::ViewportBuilder::default()
            .with_title("Loopwright desk")
            .with_inner_size([1360.0, 860.0])
            .with_min_inner_size([720.0, 480.0]),
        ..eframe::NativeOptions::default()
    };
    let ran = eframe::run_native(
        "loopwright-desk",
        options,
        Box::new(|cc| Ok(Box::new(Desk::new(&cc.egui_ctx, start)))),
    );
    match ran {
        Ok(()) => ExitCode::SUCCESS,
        Err(problem) => {
            eprintln!(
                "error: no window can be opened: {problem}. A display and a graphics driver are needed; a software one will do (Debian: mesa-vulkan-drivers)"
            );
            ExitCode::FAILURE
        }
    }
}

fn misunderstood() -> ExitCode {
    eprintln!("error: one job file or one sculpt can be given\n\n{HELP}");
    ExitCode::from(2)
}

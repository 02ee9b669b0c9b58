//! `cargo run -p loopwright-corpus`: the robustness corpus. `--help` says more.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::PathBuf;
use std::process::{Command, ExitCode};

use loopwright_corpus::cases::{BUDGETS, Entry, Selection};
use loopwright_corpus::parent::{self, Harness};
use loopwright_corpus::record::{Message, Record};
use loopwright_corpus::{guide_file, recipe, run, study, summary};

const HELP: &str = "\
Runs the engine over made shapes and over folders of sculpts; says how each run ended.

  --shapes N      made shapes to run (default 200; 0 with --sculpts or --open)
  --from K        number of the first made shape (default 0)
  --sculpts DIR   NAME.ply with NAME.guides.json: runs with all guides, few and none
  --open DIR      OBJ, PLY, STL, GLB without guides
  --faces LIST    budgets, comma-separated (default 300,1500,5000)
  --only TEXT     runs whose id (NAME/GUIDES/FACES) contains the text only
  --out DIR       writes runs.txt, runs.json and summary.txt
  --save DIR      writes the made shapes as NAME.ply with NAME.guides.json instead of running anything
  --jobs N        processes at a time, 1 or 2 (default 2)
  --guard S       seconds by the clock after which a run counts as hanging (default 300)

study --out DIR   writes DIR/quality.md and DIR/quality/: our own sculpts, every measure, other ways

Exit status: 0 if every clean input gave a sound surface and nothing else went wrong than
refusals; 1 otherwise; 2 for words that aren't understood.";

/// What the command line asks for.
#[derive(Default)]
struct Args {
    selection: Selection,
    out: Option<PathBuf>,
    save: Option<PathBuf>,
    jobs: usize,
    guard: u64,
    /// In a child process: the case, and the run to begin with.
    child: Option<(String, usize)>,
}

fn parsed(words: &[String]) -> Result<Args, String> {
    let mut args = Args {
        jobs: 2,
        guard: 300,
        ..Args::default()
    };
    args.selection.faces = BUDGETS.to_vec();
    let mut shapes = None;
    let mut words = words.iter();
    while let Some(word) = words.next() {
        let mut value = || {
            let value = words.next();
            value.ok_or_else(|| format!("{word} needs a value"))
        };
        let number = |text: &String| {
            let number = text.parse::<usize>();
            number.map_err(|_| format!("{word} needs a whole number, not {text}"))
        };
        match word.as_str() {
            "--shapes" => shapes = Some(number(value()?)?),
            "--from" => args.selection.from = number(value()?)?,
            "--sculpts" => args.selection.sculpts = Some(value()?.into()),
            "--open" => args.selection.open = Some(value()?.into()),
            "--faces" => {
                let list = value()?.split(',').map(|n| number(&n.to_owned()));
                args.selection.faces = list.collect::<Result<_, _>>()?;
            }
            "--only" => args.selection.only = Some(value()?.clone()),
            "--out" => args.out = Some(value()?.into()),
            "--save" => args.save = Some(value()?.into()),
            "--jobs" => args.jobs = number(value()?)?.clamp(1, 2),
            "--guard" => args.guard = number(value()?)?.max(1) as u64,
            "--child" => args.child = Some((value()?.clone(), number(value()?)?)),
            _ => return Err(format!("{word} isn't understood\n\n{HELP}")),
        }
    }
    let files = args.selection.sculpts.is_some() || args.selection.open.is_some();
    args.selection.shapes = shapes.unwrap_or(if files { 0 } else { recipe::SHAPES });
    Ok(args)
}

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    if words.iter().any(|w| w == "--help") {
        println!("{HELP}");
        return ExitCode::SUCCESS;
    }
    if let [verb, rest @ ..] = words.as_slice()
        && verb == "study"
    {
        return match study_into(rest) {
            Ok(()) => ExitCode::SUCCESS,
            Err(text) => {
                eprintln!("{text}");
                ExitCode::from(2)
            }
        };
    }
    let ended = parsed(&words).and_then(|args| match &args.child {
        Some((case, first)) => child(&args.selection, case, *first).map(|()| true),
        None => corpus(&args, &words),
    });
    match ended {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(1),
        Err(text) => {
            eprintln!("{text}");
            ExitCode::from(2)
        }
    }
}

/// Makes the study and writes its page.
fn study_into(words: &[String]) -> Result<(), String> {
    let [option, folder] = words else {
        return Err(format!("study needs --out DIR and nothing else\n\n{HELP}"));
    };
    if option != "--out" {
        return Err(format!("{option} isn't understood\n\n{HELP}"));
    }
    let cases = study::wardrobe::wardrobe(study::TRIANGLES).map_err(|e| e.to_string())?;
    let ways = study::choices();
    let tell = |row: &study::Row| {
        let (given, way) = (row.given.name(), ways[row.choice].name);
        let ending = match &row.result {
            Ok(figures) => format!("{} faces", figures.measures.counts.faces),
            Err(words) => words.clone(),
        };
        println!("{:<16} {given:<5} {way:<52} {ending}", row.sculpt);
    };
    let (rows, pictures) =
        study::rows(&cases, study::FACES, tell).map_err(|problem| problem.to_string())?;
    let text = study::text(&rows, &cases, study::FACES, &commit(), study::page::FOLDER);
    let folder = std::path::Path::new(folder);
    study::page::write(folder, &text, &pictures).map_err(|e| e.to_string())
}

/// The last commit that changed what the study measures, by git.
fn commit() -> String {
    const MEASURED: [&str; 6] = ["base", "mesh", "numeric", "engine", "session", "demo"];
    let git = |words: &[&str]| {
        let mut command = Command::new("git");
        command
            .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
            .args(words)
            .arg("--")
            .args(MEASURED);
        let output = command.output().ok().filter(|o| o.status.success())?;
        let text = String::from_utf8_lossy(&output.stdout).trim().to_owned();
        Some(text)
    };
    let last = git(&["log", "-1", "--format=%h (%s)"]).filter(|text| !text.is_empty());
    let changed = git(&["status", "--porcelain"]).is_some_and(|text| !text.is_empty());
    match (last, changed) {
        (Some(last), false) => format!("commit {last}"),
        (Some(last), true) => format!("commit {last} with changes not committed"),
        (None, _) => "a commit that git doesn't tell".to_owned(),
    }
}

/// Runs everything; answers whether all is well.
fn corpus(args: &Args, words: &[String]) -> Result<bool, String> {
    let entries = args.selection.entries().map_err(|e| e.to_string())?;
    if let Some(folder) = &args.save {
        return save(folder, &entries).map(|()| true);
    }
    let program = std::env::current_exe().map_err(|e| e.to_string())?;
    let command = |entry: &Entry, first: usize| {
        let mut command = Command::new(&program);
        command
            .args(words)
            .args(["--child", &entry.name, &first.to_string()])
            .env("RAYON_NUM_THREADS", "1");
        command
    };
    let harness = Harness {
        jobs: args.jobs,
        guard: args.guard,
    };
    print!("{}", summary::heading());
    let show = |record: &Record| print!("{}", summary::line(record));
    let records = parent::run_all(&harness, &args.selection, &entries, command, show);
    let text = summary::text(&records);
    print!("{text}");
    if let Some(folder) = &args.out {
        write(folder, &records, &text)
            .map_err(|e| format!("can't write to {}: {e}", folder.display()))?;
    }
    let bad = |r: &Record| r.ending.is_fault() || r.is_clean() && !r.ending.is_success();
    Ok(!records.iter().any(bad))
}

fn write(folder: &std::path::Path, records: &[Record], text: &str) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)?;
    let mut table = summary::heading();
    for record in records {
        let _ = write!(table, "{}", summary::line(record));
    }
    std::fs::write(folder.join("runs.txt"), table)?;
    let json = serde_json::to_vec_pretty(records)?;
    std::fs::write(folder.join("runs.json"), json)?;
    std::fs::write(folder.join("summary.txt"), text)
}

fn save(folder: &std::path::Path, entries: &[Entry]) -> Result<(), String> {
    std::fs::create_dir_all(folder).map_err(|e| e.to_string())?;
    for entry in entries {
        let case = match entry.load() {
            Ok(case) => case,
            Err(problem) => {
                println!("{:<40} {problem}", entry.name);
                continue;
            }
        };
        let guides = guide_file::text(&case).map_err(|e| e.to_string())?;
        let file = folder.join(format!("{}.guides.json", entry.name));
        std::fs::write(file, guides).map_err(|e| e.to_string())?;
        let mesh = mesh::TriMesh {
            positions: case.positions,
            triangles: case.triangles,
        };
        let names: Vec<&str> = case.guides.iter().map(|g| g.name.as_str()).collect();
        println!(
            "{:<40} {:>7}  {}",
            entry.name,
            mesh.triangles.len(),
            names.join(", ")
        );
        let file = folder.join(format!("{}.ply", entry.name));
        std::fs::write(file, files::ply_bytes(&mesh)).map_err(|e| e.to_string())?;
    }
    Ok(())
}

/// Runs one case from its run number `first` on and tells the parent.
fn child(selection: &Selection, case: &str, first: usize) -> Result<(), String> {
    let entries = selection.entries().map_err(|e| e.to_string())?;
    let entry = entries.iter().find(|e| e.name == case);
    let entry = entry.ok_or_else(|| format!("there is no case {case}"))?;
    run::note_panics();
    let mut case = match entry.load() {
        Ok(case) => case,
        Err(problem) => {
            return tell(&Message::NoCase(problem.to_string()));
        }
    };
    case.name.clone_from(&entry.name);
    tell(&Message::Loaded(
        case.class.clone(),
        case.defects.clone(),
        case.triangles.len(),
    ))?;
    for (number, spec) in selection.runs(entry).into_iter().enumerate().skip(first) {
        tell(&Message::Begin(number))?;
        let record = run::run(&case, spec, |stage| {
            // Where this fails, the next message does too and ends the process.
            let _ = tell(&Message::Stage(stage.to_owned()));
        });
        tell(&Message::End(Box::new(record)))?;
    }
    Ok(())
}

/// Fails where nobody listens any more: the parent is gone, so there is nothing left to do.
fn tell(message: &Message) -> Result<(), String> {
    let text = serde_json::to_string(message).map_err(|e| e.to_string())?;
    let mut out = std::io::stdout().lock();
    let told = writeln!(out, "{text}").and_then(|()| out.flush());
    told.map_err(|e| e.to_string())
}

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

use std::path::PathBuf;

use files::{GuideKind, GuideSpec};
use mesh::DVec3;

use super::*;

const COAT: &str = "job = 1\n# the keeper's coat\n[sculpt]\nfile = 'oilskin.ply' # dense\n\
    [density]\nfaces = 1800\n\
    [[guide]] # to be taken off with the gloves\nname = 'wrist'\nkind = 'ring'\ncount = 12\n\
    points = [[0,0,0],[1,0,0],[0,0,1]]\n";

/// A folder of its own for a test.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path =
            std::env::temp_dir().join(format!("loopwright-document-{}-{name}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn job(&self) -> PathBuf {
        let path = self.0.join("coat.toml");
        std::fs::write(&path, COAT).unwrap();
        path
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn ring(name: &str) -> GuideSpec {
    GuideSpec::new(name, GuideKind::Ring, vec![DVec3::X, DVec3::Y, DVec3::Z])
}

#[test]
fn taking_everything_back_gives_the_file_to_the_byte() {
    let folder = Folder::new("undo");
    let (mut document, recovery) = Document::open(&folder.job()).unwrap();
    assert!(recovery.is_none() && document.is_saved() && document.undo_label().is_none());
    document
        .change("Draw ring 'elbow'", |s| s.guides.push(ring("elbow")))
        .unwrap();
    document
        .change("Ask for 14", |s| s.guides[0].count = Some(14))
        .unwrap();
    document
        .change("Delete 'wrist'", |s| drop(s.guides.remove(0)))
        .unwrap();
    assert_eq!(document.undo_label(), Some("Delete 'wrist'"));
    let last = document.text().to_owned();
    for _ in 0..3 {
        assert!(document.undo());
    }
    assert!(!document.undo() && document.is_saved());
    assert_eq!(document.text(), COAT);
    while document.redo() {}
    assert_eq!(document.text(), last);
    document.save().unwrap();
    assert_eq!(std::fs::read_to_string(document.path()).unwrap(), last);
}

#[test]
fn a_drag_is_one_step() {
    let folder = Folder::new("drag");
    let (mut document, _) = Document::open(&folder.job()).unwrap();
    for i in 1..=5 {
        let to = DVec3::splat(f64::from(i));
        document
            .change_on("drag wrist", "Bend 'wrist'", |s| s.guides[0].points[0] = to)
            .unwrap();
    }
    document.settle();
    document
        .change_on("drag wrist", "Bend 'wrist'", |s| {
            s.guides[0].points[0] = DVec3::Y
        })
        .unwrap();
    assert!(document.undo());
    assert_eq!(document.spec().guides[0].points[0], DVec3::splat(5.0));
    assert!(document.undo() && !document.undo());
    assert_eq!(document.text(), COAT);
}

#[test]
fn what_a_job_cant_ask_for_changes_nothing() {
    let folder = Folder::new("refused");
    let (mut document, _) = Document::open(&folder.job()).unwrap();
    let twice = document.change("Draw", |s| s.guides.push(ring("wrist")));
    assert!(twice.unwrap_err().to_string().contains("wrist"));
    assert!(document.is_saved() && document.undo_label().is_none());
    assert!(!document.change("Nothing", |_| {}).unwrap());
}

#[test]
fn what_isnt_saved_is_offered_once_and_only_where_it_differs() {
    let folder = Folder::new("recover");
    let job = folder.job();
    let (mut document, _) = Document::open(&job).unwrap();
    document
        .change("Draw ring", |s| s.guides.push(ring("elbow")))
        .unwrap();
    let unsaved = document.text().to_owned();
    // As a program that is killed leaves it.
    std::mem::forget(document);
    let (mut document, recovery) = Document::open(&job).unwrap();
    let recovery = recovery.unwrap();
    assert_eq!(
        (document.text(), recovery.text.as_str()),
        (COAT, unsaved.as_str())
    );
    document.recover(&recovery).unwrap();
    assert_eq!(document.text(), unsaved);
    assert!(!document.is_saved());
    document.save().unwrap();
    assert!(!document.side_path().unwrap().exists());
    assert!(Document::open(&job).unwrap().1.is_none());
}

#[test]
fn a_new_job_stands_beside_its_sculpt_and_replaces_no_other() {
    let folder = Folder::new("new");
    folder.job();
    let (mut document, _) = Document::for_sculpt(&folder.0.join("coat.ply")).unwrap();
    assert_eq!(document.path(), folder.0.join("coat 2.toml"));
    assert!(!document.is_saved() && !document.path().exists());
    let elsewhere = folder.0.join("jobs");
    std::fs::create_dir_all(&elsewhere).unwrap();
    document.save_as(&elsewhere.join("coat.toml")).unwrap();
    assert_eq!(document.file().sculpt_path(), folder.0.join("coat.ply"));
    assert!(document.is_saved());
}

#[test]
fn changes_outside_are_noticed_by_content() {
    let folder = Folder::new("outside");
    let job = folder.job();
    std::fs::write(folder.0.join("oilskin.ply"), "ply one").unwrap();
    let (mut document, _) = Document::open(&job).unwrap();
    let mut watched = Watched::of(&document);
    assert!(watched.look().is_empty());
    // The same content with a new time is no change.
    std::fs::write(folder.0.join("oilskin.ply"), "ply one").unwrap();
    assert!(watched.look().is_empty());
    std::fs::write(folder.0.join("oilskin.ply"), "ply two, longer").unwrap();
    std::fs::write(&job, COAT.replace("1800", "2400")).unwrap();
    assert_eq!(watched.look(), [Changed::Job, Changed::Sculpt]);
    assert!(watched.look().is_empty());
    document.reload().unwrap();
    assert!(document.text().contains("2400") && document.is_saved());
    document.undo();
    assert_eq!(document.text(), COAT);
    // What is written here is told as well, and known for this document's own.
    document.save().unwrap();
    watched.follow(document.file());
    assert_eq!(watched.look(), [Changed::Job]);
    assert!(document.is_as_written());
    std::fs::write(&job, COAT.replace("1800", "2000")).unwrap();
    assert!(!document.is_as_written());
}

/// Writes within one tick of the system's clock for files leave the same time.
#[test]
fn writes_of_one_length_right_after_each_other_are_all_noticed() {
    let folder = Folder::new("tick");
    let job = folder.job();
    let (document, _) = Document::open(&job).unwrap();
    let mut watched = Watched::of(&document);
    for faces in ["2000", "2200", "2400", "2600", "2800"].repeat(8) {
        std::fs::write(&job, COAT.replace("1800", faces)).unwrap();
        assert_eq!(watched.look(), [Changed::Job], "{faces}");
    }
}

#[test]
fn saving_under_another_name_reads_no_sculpt() {
    let folder = Folder::new("elsewhere");
    let job = folder.job();
    let sculpt = folder.0.join("oilskin.ply");
    std::fs::write(&sculpt, "ply one").unwrap();
    let (mut document, _) = Document::open(&job).unwrap();
    let mut watched = Watched::of(&document);
    // Were it read now, this change would be taken for what was there before.
    std::fs::write(&sculpt, "ply two, longer").unwrap();
    let jobs = folder.0.join("jobs");
    std::fs::create_dir_all(&jobs).unwrap();
    document.save_as(&jobs.join("coat.toml")).unwrap();
    watched.follow(document.file());
    // The job that was is no longer of interest.
    std::fs::write(&job, "job = 1 # another").unwrap();
    assert_eq!(watched.look(), [Changed::Sculpt]);
}

#[test]
fn a_lookout_tells_of_changes_from_its_own_thread() {
    let folder = Folder::new("lookout");
    let job = folder.job();
    std::fs::write(folder.0.join("oilskin.ply"), "ply one").unwrap();
    let (mut document, _) = Document::open(&job).unwrap();
    let (bell, rings) = std::sync::mpsc::channel();
    let every = std::time::Duration::from_millis(5);
    // Whole at once, so that no look meets half a file.
    let write = |name: &str, text: &str| {
        let fresh = folder.0.join("fresh");
        std::fs::write(&fresh, text).unwrap();
        std::fs::rename(&fresh, folder.0.join(name)).unwrap();
    };
    let lookout = Lookout::start(Watched::of(&document), every, move || {
        // The test may be over.
        let _ = bell.send(());
    });
    let lookout = lookout.unwrap();
    // A file that the job comes to name is watched from then on.
    std::fs::write(folder.0.join("cuff.obj"), "v 0 0 0").unwrap();
    let hold = |spec: &mut JobSpec| {
        spec.holds.push(files::HoldSpec {
            name: "cuff".to_owned(),
            file: "cuff.obj".into(),
            line: 0,
        });
    };
    document.change("Hold", hold).unwrap();
    lookout.follow(document.file());
    write("oilskin.ply", "ply two, longer");
    rings.recv().unwrap();
    assert_eq!(lookout.poll(), [Changed::Sculpt]);
    write("cuff.obj", "v 0 0 0.5");
    rings.recv().unwrap();
    assert_eq!(lookout.poll(), [Changed::Hold]);
    assert!(lookout.poll().is_empty());
}

#[test]
fn files_are_read_once_they_stand_still() {
    let folder = Folder::new("rest");
    let job = folder.job();
    let sculpt = folder.0.join("oilskin.ply");
    std::fs::write(&sculpt, "ply").unwrap();
    let (mut watched, file) = Watched::read(&job);
    assert!(file.is_ok() && watched.look_at_rest().is_empty());
    // Two programs write at a time; the slower one holds both back.
    std::fs::write(&sculpt, "ply for").unwrap();
    assert!(watched.look_at_rest().is_empty());
    std::fs::write(&sculpt, "ply format").unwrap();
    std::fs::write(&job, COAT.replace("1800", "24000")).unwrap();
    assert!(watched.look_at_rest().is_empty());
    std::fs::write(&sculpt, "ply format ascii").unwrap();
    assert!(watched.look_at_rest().is_empty());
    assert_eq!(watched.look_at_rest(), [Changed::Job, Changed::Sculpt]);
    assert!(watched.look_at_rest().is_empty());
    // A new time alone is no change, however often it is looked at.
    let touched = std::fs::File::options().write(true).open(&sculpt).unwrap();
    touched.set_modified(std::time::UNIX_EPOCH).unwrap();
    for _ in 0..3 {
        assert!(watched.look_at_rest().is_empty());
    }
    // Nor is a file that is gone, until it comes back as another.
    std::fs::remove_file(&sculpt).unwrap();
    for _ in 0..3 {
        assert!(watched.look_at_rest().is_empty());
    }
    std::fs::write(&sculpt, "ply format ascii 1.0").unwrap();
    assert!(watched.look_at_rest().is_empty());
    assert_eq!(watched.look_at_rest(), [Changed::Sculpt]);
}

#[test]
fn everything_that_a_job_names_is_watched_and_a_broken_job_by_itself() {
    let folder = Folder::new("named");
    let hold = "\n[[hold]]\nname = 'cuff'\nfile = 'coat.cuff.obj'\n";
    let job = folder.job();
    std::fs::write(&job, COAT.replace("oilskin.ply", "oilskin.gltf") + hold).unwrap();
    let write = |name: &str, text: &str| std::fs::write(folder.0.join(name), text).unwrap();
    let buffers = "\"buffers\": [{ \"uri\": \"oilskin.bin\", \"byteLength\": 4 }]";
    let gltf = format!("{{ \"asset\": {{ \"version\": \"2.0\" }}, {buffers} }}");
    write("oilskin.gltf", &gltf);
    write("oilskin.bin", "1234");
    let (mut watched, file) = Watched::read(&job);
    file.unwrap();
    // A file that wasn't there when the job was read is a change when it comes.
    write("coat.cuff.obj", "v 0 0 0");
    assert_eq!(watched.look(), [Changed::Hold]);
    write("oilskin.bin", "12345");
    assert_eq!(watched.look(), [Changed::Sculpt]);

    write("gloves.gltf", &gltf.replace("oilskin.bin", "gloves.bin"));
    let (mut document, _) = Document::open(&job).unwrap();
    let other = |spec: &mut files::JobSpec| spec.sculpt.file = "gloves.gltf".into();
    document.change("Take another sculpt", other).unwrap();
    watched.follow(document.file());
    write("gloves.bin", "1234");
    assert_eq!(watched.look(), [Changed::Sculpt]);

    std::fs::write(&job, "job = ").unwrap();
    assert_eq!(watched.look(), [Changed::Job]);
    let (mut watched, file) = Watched::read(&job);
    file.unwrap_err();
    write("gloves.bin", "123456");
    assert!(watched.look().is_empty());
    folder.job();
    assert_eq!(watched.look(), [Changed::Job]);

    std::fs::remove_file(&job).unwrap();
    let (mut watched, file) = Watched::read(&job);
    file.unwrap_err();
    assert!(watched.look().is_empty());
    folder.job();
    assert_eq!(watched.look(), [Changed::Job]);
}

#[test]
fn a_set_is_watched_with_its_jobs_and_what_they_name() {
    let folder = Folder::new("set");
    let job = folder.job();
    let write = |name: &str, text: &str| std::fs::write(folder.0.join(name), text).unwrap();
    let set = "figure = 1\n[symmetry]\nplane = 'x'\n\
        [[part]]\nname = 'coat'\njob = 'coat.toml'\n\
        [[part]]\nname = 'other coat'\nimage_of = 'coat'\n\
        [[part]]\nname = 'hat'\njob = 'hat.toml'\n";
    let set = |more: &str| write("keeper.toml", &format!("{set}{more}"));
    set("");
    write("oilskin.ply", "ply one");
    let (mut watched, file) = Watched::read(&folder.0.join("keeper.toml"));
    assert!(matches!(file.unwrap(), files::JobOrSet::Set(_)));
    assert!(watched.look().is_empty());
    write("oilskin.ply", "ply two, longer");
    assert_eq!(watched.look(), [Changed::Sculpt]);
    std::fs::write(&job, COAT.replace("1800", "2400")).unwrap();
    assert_eq!(watched.look(), [Changed::Job]);
    // One that wasn't there when the set was read.
    write("hat.toml", "job = ");
    assert_eq!(watched.look(), [Changed::Job]);
    set("share = 2\n");
    assert_eq!(watched.look(), [Changed::Job]);
}

mod against_a_plain_list {
    use proptest::prelude::*;

    use super::*;

    #[derive(Clone, Debug)]
    enum Move {
        Count(u32),
        Draw,
        Drag(i8),
        Undo,
        Redo,
    }

    fn moves() -> impl Strategy<Value = Vec<Move>> {
        let one = prop_oneof![
            (3u32..40).prop_map(Move::Count),
            Just(Move::Draw),
            any::<i8>().prop_map(Move::Drag),
            Just(Move::Undo),
            Just(Move::Redo),
        ];
        prop::collection::vec(one, 0..24)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        /// The history does what a list of texts with a place in it does.
        #[test]
        fn any_moves(moves in moves()) {
            let file = JobFile::parse("coat.toml".as_ref(), COAT).unwrap();
            let mut document = Document::of(file, None);
            document.side = None;
            let (mut texts, mut at) = (vec![COAT.to_owned()], 0_usize);
            for (i, step) in moves.into_iter().enumerate() {
                let changed = match step {
                    Move::Undo => {
                        prop_assert_eq!(document.undo(), at > 0);
                        at = at.saturating_sub(1);
                        false
                    }
                    Move::Redo => {
                        prop_assert_eq!(document.redo(), at + 1 < texts.len());
                        at = (at + 1).min(texts.len() - 1);
                        false
                    }
                    Move::Count(n) => document.change("c", |s| s.guides[0].count = Some(n)).unwrap(),
                    Move::Draw => document
                        .change("d", |s| s.guides.push(ring(&format!("r{i}")))).unwrap(),
                    Move::Drag(x) => {
                        let changed = document.change_on("k", "b", |s| {
                            s.guides[0].points[1].x = f64::from(x);
                        }).unwrap();
                        document.settle();
                        changed
                    }
                };
                if changed {
                    texts.truncate(at + 1);
                    texts.push(document.text().to_owned());
                    at += 1;
                }
                prop_assert_eq!(document.text(), &texts[at]);
                let anew = JobFile::parse("coat.toml".as_ref(), document.text()).unwrap();
                prop_assert_eq!(anew.spec(), document.spec());
            }
        }
    }
}

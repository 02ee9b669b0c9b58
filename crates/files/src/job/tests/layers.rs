use super::*;

const BODY: &str = "job = 1\nsculpt.file = 'a.ply'\n\n[[layer]]\n# the dummy of the yard\nname = 'body'\nfile = 'keeper.ply'\nclearance = 0.4\n";

#[test]
fn layers_are_read_written_and_changed_in_place() {
    let mut job = parse(BODY).unwrap();
    let layer = job.spec().layers[0].clone();
    assert_eq!((layer.name.as_str(), layer.line), ("body", 4));
    assert_eq!((layer.side, layer.clearance), (LayerSide::Under, 0.4));
    assert_eq!((layer.part.as_ref(), layer.margin), (None, None));
    let beside = std::path::Path::new("yard/keeper.ply");
    assert_eq!(job.layer_path(&layer), beside);
    let mut spec = job.spec().clone();
    spec.layers[0].clearance = 0.25;
    spec.layers[0].margin = Some(3.0);
    spec.layers[0].part = Some("torso".into());
    let mut over = LayerSpec {
        name: "scarf".into(),
        side: LayerSide::Over,
        margin: None,
        ..spec.layers[0].clone()
    };
    spec.layers.push(over.clone());
    job.update(spec.clone()).unwrap();
    let text = job.text();
    assert!(text.contains("# the dummy of the yard") && text.contains("hidden = \"drop\""));
    over.line = job.spec().layers[1].line;
    assert_eq!(job.spec().layers[1], over);
    let new = JobFile::create("new.toml".as_ref(), &spec).unwrap();
    let mut again = new.spec().layers.clone();
    again
        .iter_mut()
        .zip(&spec.layers)
        .for_each(|(a, b)| a.line = b.line);
    assert_eq!(again, spec.layers);
    spec.layers[0].margin = None;
    job.update(spec).unwrap();
    assert!(!job.text().contains("hidden") && !job.text().contains("margin"));
}

#[test]
fn wrong_layers_say_line_and_way_out() {
    for (add, line, says) in [
        ("file = 'b.ply'\n", 9, "isn't valid TOML"),
        ("clearence = 1\n", 9, "Did you mean 'clearance'?"),
        ("side = 'uder'\n", 9, "Did you mean 'under'?"),
        ("hidden = 'drop'\n", 4, "'margin' is missing"),
        ("margin = 2\n", 9, "hidden = \"drop\""),
        ("margin = -2\nhidden = 'drop'\n", 9, "of at least 0"),
        ("hidden = 'drop'\nmargin = 1\nside = 'over'\n", 9, "is seen"),
        (
            "[[layer]]\nname = 'body'\nfile = 'x.obj'\nclearance = 1\n",
            10,
            "has this name too",
        ),
        (
            "[[layer]]\nname = 'x'\nfile = 'x.obj'\nclearance = 0\n",
            12,
            "above 0",
        ),
        (
            "[[layer]]\nname = 'x'\nfile = 'x.obj'\n",
            9,
            "'clearance' is missing",
        ),
    ] {
        let problems = parse(&format!("{BODY}{add}")).unwrap_err().problems;
        let one = problems.iter().find(|p| p.fault.to_string().contains(says));
        let one = one.unwrap_or_else(|| panic!("{add}: {problems:?}"));
        assert_eq!(one.at.unwrap().line, line, "{add}: {}", one.fault);
    }
}

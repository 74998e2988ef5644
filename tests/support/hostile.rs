//! Text that breaks careless writers of markup, and a book that is full of it.

use serde_json::{Value, json};

/// Markup, ends of what writers put around text, other directions of writing, signs of several code points. Control
/// characters are refused by the book itself.
pub const HOSTILE: [&str; 5] = [
    "<script>document.title='x'</script>",
    "\"><img src=x onerror=alert(1)> 'quoted' &amp; & ]]> --> </svg></style></title>",
    "منعطف الجسر \u{202e}desrever",
    "🏎️🏁 Kehre & Söhne 👩‍🔧",
    "first\n\n00:01.000 --> 00:02.000\nlast",
];
/// Letters of the long texts.
pub const LONG: usize = 10_000;

/// A file's name without its ending, allowed on every file system of this kind.
pub const HOSTILE_NAME: &str = "stint <&>\"' 🏁 مرحبا";

/// Puts hostile text wherever a book takes text; corners 1 and 2 and laps 1 to 3 are known to the session.
pub fn make_hostile(book: &mut Value) {
    let [script, markup, arabic, signs, cue] = HOSTILE;
    let long = "L".repeat(LONG);
    book["driver"] = format!("{markup} {arabic}").into();
    book["grip"] = "damp".into();
    book["corner_names"] = json!({"1": script, "2": arabic});
    book["tag_kinds"][0]["name"] = script.into();
    let kind = book["tag_kinds"][0]["id"].clone();
    let pass = |lap: u32, corner: u32| json!({"pass": {"lap": lap, "corner": corner}});
    let tags = [
        (pass(1, 1), json!({"kind": kind}), Value::from(markup)),
        (pass(2, 1), json!({"exit": "bad"}), cue.into()),
        (pass(2, 2), json!("note"), long.into()),
        (pass(3, 2), json!("note"), arabic.repeat(300).into()),
        (json!({"frame": {"t_s": 31.0}}), json!({"kind": kind}), signs.into()),
    ];
    let next = book["next_id"].as_u64().unwrap();
    let count = tags.len() as u64;
    let tags = (next..).zip(tags).map(|(id, (on, what, note))| json!({"id": id, "on": on, "what": what, "note": note}));
    book["tags"] = tags.collect();
    book["reference_points"] = json!([
        {"id": next + count, "corner": 1, "name": markup, "circled": null},
        {"id": next + count + 1, "corner": 2, "name": "M".repeat(LONG), "circled": null},
    ]);
    book["next_id"] = (next + count + 2).into();
}

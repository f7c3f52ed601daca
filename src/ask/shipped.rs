//! The questions that come with the program: the files of `queries/`, carried in the executable so
//! that one file is enough. The folder is the list.

use include_dir::{Dir, include_dir};

static QUERIES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../queries");

/// Name (the file's, without `.sql`) and text of every question, by name.
#[must_use]
pub fn shipped() -> Vec<(&'static str, &'static str)> {
    let mut list: Vec<_> = QUERIES
        .files()
        .filter_map(|f| {
            let name = f.path().to_str()?.strip_suffix(".sql")?;
            Some((name, f.contents_utf8()?))
        })
        .collect();
    list.sort_unstable();
    list
}

/// The text of one question.
#[must_use]
pub fn shipped_question(name: &str) -> Option<&'static str> {
    shipped().into_iter().find(|(n, _)| *n == name).map(|(_, text)| text)
}

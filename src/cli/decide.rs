//! What is open goes on one page and into one workbook, with pictures of structures among known ones;
//! what was answered there is taken over into the files of the study before these are read.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use sha2::{Digest, Sha256};

use super::fault::Fault;
use super::lock::LockMode;
use super::one_case::{is_worth_measuring, read_structures};
use super::parallel::{guarded, map_indices};
use super::prepare::PreparedStudy;
use super::settings::Settings;
use super::study_folder::StudyFolder;
use super::terminal::Terminal;
use tidydose_analyse::outlines::{Outline, outlines};
use tidydose_case::{Case, NamedRoi};
use tidydose_report::decide::{self, OutlineKind, OutlineLine, OutlinePicture, Request, Seen};
use tidydose_rt::digest::hexadecimal;
use tidydose_rt::identity::Token;
use tidydose_table::decide_workbook::decide_workbook;
use tidydose_table::replace_file;
use tidydose_table::user::answers::{self, Answer, TakenOver};
use tidydose_table::user::questions::{Place, Question};

/// Takes over what was answered in files of the study folder and in the one that was named. Those of
/// the folder are moved aside then, so that a later change of mind in the CSV files is not undone.
///
/// # Errors
/// When a file cannot be read or written, or an answer is not accepted; nothing is taken over then.
pub(super) fn take_over_answers(
    folder: &StudyFolder,
    settings: &Settings,
    hold: LockMode,
    terminal: &Terminal,
) -> Result<(), Fault> {
    let own = answers::files_in(folder.root())?;
    let mut all: Vec<Answer> = Vec::new();
    let mut done: Vec<&PathBuf> = Vec::new();
    for path in own.iter().chain(&settings.decisions) {
        if settings.decisions.as_ref() == Some(path) && !path.is_file() {
            let reason = format!(
                "{} is no file; give the answers.csv that the page saved, or a decide.xlsx",
                path.display()
            );
            return Err(Fault::Option { option: "--decisions", reason });
        }
        let answers = answers::read(path)?;
        if !answers.is_empty() {
            done.push(path);
        }
        all.extend(answers);
    }
    if all.is_empty() {
        return Ok(());
    }
    if hold == LockMode::Shared {
        return Err(Fault::folder(
            folder.root(),
            "holds answers that are not taken over yet; run `tidydose survey` once before the \
             shares, so that all of them follow the same decisions",
        ));
    }
    let taken = answers::take_over(folder.root(), &all)?;
    for path in done {
        if own.contains(path) {
            set_aside(path, &folder.answered())?;
        }
    }
    say_taken(&taken, folder, terminal);
    Ok(())
}

/// Moves a file of answers aside, under a name that its content makes.
fn set_aside(path: &Path, folder: &Path) -> Result<(), Fault> {
    let fault = |e: std::io::Error| Fault::folder(path, format!("cannot be moved aside: {e}"));
    let bytes = fs::read(path).map_err(fault)?;
    let mut digest = hexadecimal(&Sha256::digest(&bytes));
    digest.truncate(8);
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let ending = path.extension().unwrap_or_default().to_string_lossy();
    fs::create_dir_all(folder).map_err(fault)?;
    fs::rename(path, folder.join(format!("{stem}-{digest}.{ending}"))).map_err(fault)
}

fn say_taken(taken: &TakenOver, folder: &StudyFolder, terminal: &Terminal) {
    let files: Vec<String> = taken.written.iter().map(|(file, n)| format!("{file} {n}")).collect();
    let written: usize = taken.written.values().sum();
    let files = if files.is_empty() { String::new() } else { format!(" ({})", files.join(", ")) };
    terminal.say(&format!(
        "answers taken over: {written}{files}, known already: {}; files of answers in the study are \
         kept in {}",
        taken.known,
        folder.answered().display()
    ));
    taken.not_asked.iter().for_each(|sentence| terminal.warn(sentence));
}

/// So many structures are drawn for a question about a name, about something else, and in all.
const PICTURES: [usize; 3] = [2, 1, 240];

/// Writes the page and the workbook of what is open, unless they hold the same questions already.
///
/// # Errors
/// When the page cannot be written.
pub(super) fn write_questions(
    prepared: &PreparedStudy,
    questions: &[Question],
    (settings, terminal, stop): (&Settings, &Terminal, &AtomicBool),
) -> Result<(), Fault> {
    if stop.load(Ordering::SeqCst) {
        return Ok(());
    }
    let folder = &prepared.folder;
    let fault = |e: serde_json::Error| Fault::System(format!("{}: {e}", decide::FILE));
    let (page, book) = (folder.decide_page(), folder.root().join(answers::WORKBOOK));
    let mark = mark(questions).map_err(fault)?;
    let there = fs::read_to_string(&page).is_ok_and(|text| text.ends_with(&mark));
    if there && book.is_file() {
        return Ok(());
    }
    let pictures = pictures(prepared, questions, settings.jobs, stop);
    // Nothing of the folder: the same questions are the same bytes wherever they lie.
    let request = Request { questions, pictures: &pictures };
    let html = decide::page(&request).map_err(fault)? + &mark;
    replace_file(&page, |to| to.write_all(html.as_bytes()))?;
    if answers::read(&book).is_ok_and(|answers| !answers.is_empty()) {
        terminal.warn(&format!(
            "{} was filled in while the run went on; it is left as it is, and its answers count when \
             the same command is run again",
            book.display()
        ));
        return Ok(());
    }
    let bytes = decide_workbook(questions)
        .map_err(|e| Fault::System(format!("{} cannot be made: {e}", book.display())))?;
    // A spreadsheet that has the file open may hold it: the page has the same questions.
    if let Err(e) = replace_file(&book, |to| to.write_all(&bytes)) {
        terminal.warn(&format!("{e}; close it, and it is made anew by the next run"));
    }
    Ok(())
}

/// What to say of open questions; nothing where there are none.
pub(super) fn words_of_open(count: usize, folder: &StudyFolder) -> Option<String> {
    let questions = if count == 1 { "1 question is" } else { &format!("{count} questions are") };
    let page = folder.decide_page();
    (count > 0).then(|| format!("{questions} open: answer in {} or decide.xlsx", page.display()))
}

/// What stands at the end of a page by which the same questions are known again.
fn mark(questions: &[Question]) -> Result<String, serde_json::Error> {
    let mut hash = Sha256::new();
    hash.update(env!("CARGO_PKG_VERSION"));
    hash.update(serde_json::to_vec(questions)?);
    let digest = hexadecimal(&hash.finalize());
    Ok(format!("<!-- questions {digest} -->\n"))
}

/// The structures that are drawn, by case.
fn wanted(questions: &[Question]) -> BTreeMap<&Token, Vec<i64>> {
    let mut wanted: BTreeMap<&Token, Vec<i64>> = BTreeMap::new();
    let mut left = PICTURES[2];
    for question in questions {
        let most = if question.place == Place::Names { PICTURES[0] } else { PICTURES[1] };
        let structures = question.parts.iter().filter_map(|part| part.structure.as_ref());
        for (case, number) in structures.take(most.min(left)) {
            left -= 1;
            let list = wanted.entry(case).or_default();
            if !list.contains(number) {
                list.push(*number);
            }
        }
    }
    wanted
}

/// Pictures of what questions are about. Contours that cannot be read are passed over: a finding
/// says so.
fn pictures(
    prepared: &PreparedStudy,
    questions: &[Question],
    jobs: usize,
    stop: &AtomicBool,
) -> Vec<OutlinePicture> {
    let wanted: Vec<(&Token, Vec<i64>)> = wanted(questions).into_iter().collect();
    let cases: BTreeMap<&Token, &Case> = prepared.cases.iter().map(|c| (&c.id, c)).collect();
    let drawn = map_indices(jobs, wanted.len(), stop, &|index| {
        let (id, numbers) = wanted.get(index)?;
        let case = cases.get(id).copied().filter(|case| is_worth_measuring(case))?;
        let look = || {
            let set = read_structures(case, &prepared.scan.paths, &prepared.identity)?;
            Some(outlines(case, &set, numbers))
        };
        let found = guarded(look).ok().flatten()?;
        let picture = |(number, outline): (i64, Result<Outline, &'static str>)| OutlinePicture {
            plan_id: case.id.to_string(),
            roi_number: number,
            name: case.name(number).map_or(String::new(), |n| n.original.clone()),
            seen: outline.map(|outline| seen(case, number, outline)).map_err(str::to_owned),
        };
        Some(found.into_iter().map(picture).collect::<Vec<_>>())
    });
    drawn.into_iter().flatten().flatten().flatten().collect()
}

fn seen(case: &Case, own: i64, outline: Outline) -> Seen {
    let kind = |number, named: Option<&NamedRoi>| match named {
        _ if number == own => OutlineKind::Own,
        Some(named) if named.role.is_target() => OutlineKind::Target,
        _ => OutlineKind::Organ,
    };
    let mut lines = Vec::new();
    for line in outline.picture.lines {
        let Some(number) = line.roi_number else { continue };
        let named = case.name(number);
        let name = named.map(|n| n.standard.as_ref().unwrap_or(&n.original).clone());
        lines.push(OutlineLine {
            name: name.unwrap_or_default(),
            kind: kind(number, named),
            points: line.points,
        });
    }
    Seen {
        directions: outline.picture.directions,
        plane_mm: outline.picture.plane_mm,
        reach_mm: outline.reach_mm,
        lines,
    }
}

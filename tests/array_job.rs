//! The script for a batch scheduler as it stands in the notebook, with a runner of this machine in the
//! place of the scheduler: members side by side, of which one is killed in the middle.
#![cfg(unix)]
#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::phantom::large::Size;
use crate::resume::{DONE, Place, assert_same, program};

const SHARES: u32 = 4;

/// The one script of shell in the page.
fn script() -> String {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks-md/many-machines.md");
    let text = fs::read_to_string(page).unwrap();
    let blocks: Vec<&str> = text.split("```sh\n#!/bin/sh\n").skip(1).collect();
    assert_eq!(blocks.len(), 1);
    blocks[0].split("```").next().unwrap().to_owned()
}

fn step(place: &Place, words: &[&str], index: u32) -> Command {
    let mut command = Command::new("sh");
    command.current_dir(place.path()).arg("array.sh").args(words);
    command.env("PROGRAM", program()).env("ARCHIVE", "archive").env("STUDY", "array");
    command.env("INDEX", index.to_string()).env("SHARES", SHARES.to_string());
    command.stderr(Stdio::piped());
    command
}

fn code(child: Child) -> Option<i32> {
    child.wait_with_output().unwrap().status.code()
}

#[test]
fn members_side_by_side_make_the_bytes_of_one_machine() {
    let place = Place::of_size(8, Size::HOLLOW);
    place.key("calm");
    assert_eq!(place.measure("calm", &[]).0, DONE);
    fs::write(place.path().join("array.sh"), script()).unwrap();
    // The key of the other study, so that bytes can be compared; else the first step makes it.
    place.key("array");
    assert!(step(&place, &["first"], 0).output().unwrap().status.success());
    let member = |index| {
        let mut command = step(&place, &["member", "--metric-list", "basic"], index);
        // The shell gives way to the program, so that the blow meets the program.
        std::os::unix::process::CommandExt::process_group(&mut command, 0);
        command.spawn().unwrap()
    };
    let victim = member(1);
    let parts = place.path().join("array/cases");
    let begin = Instant::now();
    // It is met at work: after its first part, or as soon as it can be where it is quick.
    while fs::read_dir(&parts).map_or(0, Iterator::count) == 0
        && begin.elapsed() < Duration::from_secs(20)
    {
        std::thread::sleep(Duration::from_millis(2));
    }
    let group = format!("-{}", victim.id());
    Command::new("kill").args(["-KILL", "--", &group]).status().unwrap();
    let killed = code(victim);
    assert!(killed.is_none() || killed == Some(DONE), "{killed:?}");
    let others: Vec<Child> = (2..=SHARES).map(member).collect();
    for other in others {
        assert_eq!(code(other), Some(DONE));
    }
    let last = step(&place, &["last", "--metric-list", "basic"], 0).output().unwrap();
    assert!(last.status.success(), "{}", String::from_utf8_lossy(&last.stderr));
    assert_same(&place.result("calm"), &place.result("array"));
}

#[test]
fn a_step_that_is_none_or_lacks_its_number_is_refused() {
    let place = Place::with(1);
    fs::write(place.path().join("array.sh"), script()).unwrap();
    let said = |mut command: Command| {
        let output = command.output().unwrap();
        (output.status.code(), String::from_utf8(output.stderr).unwrap())
    };
    assert_eq!(
        said(step(&place, &["middle"], 1)),
        (Some(2), "array.sh: first, member or last\n".into())
    );
    let mut without = step(&place, &["member"], 1);
    without.env_remove("INDEX");
    let (refused, words) = said(without);
    assert!(refused.is_some_and(|code| code != 0) && words.contains("its number"), "{words}");
}

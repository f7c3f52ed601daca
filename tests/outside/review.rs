//! The committee's page in a browser: sorted, filtered, searched, printed.

#![allow(clippy::unwrap_used, clippy::expect_used)] // helpers of tests fail as tests do

use std::fmt::Write;
use std::fs;
use std::path::Path;
use std::process::Command as Process;

use crate::measured::measured;
use crate::review::written;

/// Opens the page in headless Chromium. What the page tells about itself comes back in its title.
fn browse(folder: &Path, page: &str, check: &str, arguments: &[&str]) -> String {
    let path = folder.join("browsed.html");
    fs::write(&path, page.replace("</body>", &format!("<script>{check}</script></body>"))).unwrap();
    let output = Process::new("chromium")
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--enable-logging=stderr"])
        .arg(format!("--user-data-dir={}", folder.join("profile").display()))
        .args(arguments)
        .arg(format!("file://{}", path.display()))
        .output()
        .expect("chromium, which .ci/run installs");
    assert!(output.status.success());
    let log = String::from_utf8_lossy(&output.stderr);
    assert!(!log.contains("CONSOLE"), "{log}");
    String::from_utf8(output.stdout).unwrap()
}

/// Sorts, filters and searches as a person does, and writes down what is to be seen.
const CHECK: &str = r##"
const seen = [];
const rows = () => [...document.querySelectorAll("#case-table tbody tr")].filter((r) => !r.hidden);
const name = (r) => r.querySelector("th").textContent.trim();
seen.push(rows().length);
const buttons = [...document.querySelectorAll("#case-table thead button")];
seen.push(buttons.length);
buttons[5].click();
const values = rows().map((r) => r.cells[5].dataset.value).filter((v) => v !== undefined).map(Number);
seen.push(values.every((v, i) => i === 0 || values[i - 1] <= v), values.length);
seen.push(buttons[5].parentNode.getAttribute("aria-sort"));
buttons[5].click();
seen.push(Number(rows()[0].cells[5].dataset.value) === Math.max(...values));
const search = document.getElementById("search");
search.value = name(rows()[0]).slice(0, 13);
search.dispatchEvent(new Event("input"));
seen.push(rows().length);
document.getElementById("clear").click();
const verdict = document.getElementById("verdict");
verdict.value = "above";
verdict.dispatchEvent(new Event("input"));
seen.push(rows().every((r) => r.dataset.verdict === "above"), rows().length);
document.getElementById("clear").click();
seen.push(rows().length, performance.getEntriesByType("resource").length);
const bare = [...document.querySelectorAll("input, select")].filter((e) => !e.labels.length);
const ids = [...document.querySelectorAll("[id]")].map((e) => e.id);
const named = [...document.querySelectorAll("[aria-labelledby]")].flatMap((e) => e.getAttribute("aria-labelledby").split(" "));
seen.push(bare.length, ids.length - new Set(ids).size, named.filter((i) => !document.getElementById(i)).length);
seen.push([...document.querySelectorAll("table")].filter((t) => !t.caption || t.querySelector("th:not([scope])")).length);
seen.push(document.documentElement.scrollWidth <= window.innerWidth);
document.title = "seen " + seen.join(" ");
"##;

#[test]
fn a_browser_sorts_filters_searches_and_loads_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let page = written(folder.path());
    let all = measured().rows("plans").len();
    let above = page.matches("data-verdict=\"above\"").count();
    assert!(above > 0);
    // 500 is the narrowest window that this browser opens.
    for width in ["1280", "500"] {
        let size = format!("--window-size={width},900");
        let dom = browse(folder.path(), &page, CHECK, &["--dump-dom", &size]);
        let title = dom.split("<title>").nth(1).unwrap().split("</title>").next().unwrap();
        let mut wanted = String::from("seen");
        write!(wanted, " {all} 9 true 7 ascending true 1 true {above} {all} 0 0 0 0 0 true")
            .unwrap();
        assert_eq!(title, wanted, "at {width}");
    }
}

#[test]
fn the_printed_page_has_a_sheet_on_each_page_at_least() {
    let folder = tempfile::tempdir().unwrap();
    let page = written(folder.path());
    let pdf = folder.path().join("page.pdf");
    let print = format!("--print-to-pdf={}", pdf.display());
    browse(folder.path(), &page, "", &[&print, "--no-pdf-header-footer"]);
    let bytes = fs::read(pdf).unwrap();
    let text = String::from_utf8_lossy(&bytes);
    let pages = text.matches("/Type /Page\n").count();
    let sheets = page.matches("<article class=\"sheet\"").count();
    // Each sheet begins a page and takes two at most; the parts before take up to fifteen.
    assert!((sheets + 4..=2 * sheets + 15).contains(&pages), "{pages} pages for {sheets} sheets");
    assert!(text.contains("[0 0 594.95996 841.91998]") || text.contains("/MediaBox [0 0 59"), "A4");
}

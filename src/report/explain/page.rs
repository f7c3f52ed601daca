//! An account as one HTML page: the same as its text, with the picture, a scale on which value,
//! bounds and limits stand, and bars for the terms. No script, nothing is loaded.

use maud::{Markup, html};

use super::account::{Account, DosePoint};
use crate::chart::at;
use crate::cohort::verdict_words;
use crate::elsewhere;
use crate::html_page::{Page, part};
use crate::number::{bounds, position, rounded, shown, spaced};
use tidydose_table::read::LimitCheckRow;
use tidydose_table::run::CAUTION;

/// The parts of the page, in order.
const PARTS: [(&str, &str); 7] = [
    ("definition", "What it is"),
    ("sources", "Where it comes from"),
    ("place", "Where it lies"),
    ("terms", "Bounds, term by term"),
    ("limits", "Limits"),
    ("findings", "Findings"),
    ("planes", "Contour planes"),
];

/// The whole page.
pub(super) fn page(account: &Account<'_>, stale: Option<&str>) -> String {
    let v = &account.value;
    let bodies: [Markup; PARTS.len()] = [
        definition(account),
        sources(account),
        place(account),
        html! { (terms(account)) (shifts(account)) },
        limits(account),
        findings(account),
        planes(account),
    ];
    let page = Page {
        title: format!("{} of {}, case {}", v.metric, v.structure, v.plan_id),
        skip: ("#definition".to_owned(), "Skip to what it is"),
        head: head(account, stale),
        script: None,
        images: false,
    };
    page.with(&html! {
        @for ((id, heading), body) in PARTS.iter().zip(&bodies) { (part(id, heading, body)) }
    })
}

fn head(account: &Account<'_>, stale: Option<&str>) -> Markup {
    let v = &account.value;
    html! {
        header {
            h1 { (v.structure) " " span.metric { (v.metric) } }
            p.caution role="note" { (CAUTION) }
            @if let Some(stale) = stale { p.caution { (stale) "." } }
            p.reading data-value=[v.value] data-low=[v.low] data-high=[v.high] {
                @match v.value {
                    Some(x) => { strong { (shown(x)) " " (v.unit) } " " (bounds(v.low, v.high)) },
                    None => { strong { "no value" } },
                }
                span.sub { "status " (spaced(v.status.word()))
                    @if !v.reason.is_empty() { ": " (v.reason) } }
            }
            dl.facts {
                (fact("Patient", v.patient_id)) (fact("Case", v.plan_id))
                (fact("Structure", v.structure_id)) (fact("Role", &spaced(v.role_word())))
            }
            nav aria-label="Parts of the page" {
                ol { @for (id, words) in PARTS { li { a href={ "#" (id) } { (words) } } } }
            }
        }
    }
}

fn fact(words: &str, text: &str) -> Markup {
    html! { @if !text.is_empty() { div { dt { (words) } dd { (text) } } } }
}

fn definition(account: &Account<'_>) -> Markup {
    html! {
        dl.told {
            @if let Some(d) = &account.definition {
                (fact("Meaning", d.meaning)) (fact("Formula", d.formula))
                (fact("Source of the definition", d.reference.unwrap_or_default()))
            }
            (fact("Method of this value", account.value.method))
        }
    }
}

fn sources(account: &Account<'_>) -> Markup {
    let heads = ["Object", "SOP Instance UID, hashed", "File, hashed path", "SHA-256 of the file"];
    html! {
        @if account.sources.is_empty() {
            p.note { "The study has no table files, or no object of the case in it." }
        } @else {
            (table("Objects that were read", &heads, account.sources.iter().map(|s| html! {
                th scope="row" { (s.kind) }
                td.id { (s.object_id) } td.id { (s.file_id) } td.id { (s.sha256) }
            })))
            p.note { "Pseudonyms are keyed; the key folder beside the study lists the original identifiers." }
        }
        h3 { "Case" }
        dl.told { @for (words, text) in &account.case { (fact(words, text)) } }
        h3 { "Structure" }
        @if account.structure.is_empty() {
            p.note { "Nobody drew it: it is a region made of the dose and of structures." }
        }
        dl.told { @for (words, text) in &account.structure { (fact(words, text)) } }
    }
}

/// A table that may be wider than the page.
fn table(caption: &str, heads: &[&str], rows: impl Iterator<Item = Markup>) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label=(caption) { table {
            caption { (caption) }
            thead { tr { @for words in heads { th scope="col" { (words) } } } }
            tbody { @for row in rows { tr { (row) } } }
        } }
    }
}

fn place(account: &Account<'_>) -> Markup {
    html! {
        @if account.pictures.is_empty() {
            p.note { "No picture: pictures are of organs with dose and of targets." }
        } @else {
            div.pictures { @for (n, picture) in account.pictures.iter().enumerate()
                { (picture.drawn(&format!("picture-{n}"), None, None)) } }
        }
        @match &account.hottest {
            None => p.note { "No hottest point: there is no dose in the structure." },
            Some(hottest) => {
                (table("Hottest point", &["Point", "Dose Gy", "x y z mm", "Plane, row, column"],
                    points(hottest, account.voxel.as_ref())))
                p.note { "Middle of the hottest cell, dose interpolated; between cells it may be \
                    higher. Indices count from 1, planes by ascending position. x runs to the \
                    patient's left, y to the back, z to the head." }
            }
        }
    }
}

fn points<'a>(
    hottest: &'a DosePoint,
    voxel: Option<&'a DosePoint>,
) -> impl Iterator<Item = Markup> + use<'a> {
    let rows = [("Hottest point", Some(hottest)), ("Nearest voxel, as stored", voxel)];
    rows.into_iter().filter_map(|(words, place)| Some((words, place?))).map(|(words, p)| {
        html! {
            th scope="row" { (words) }
            td.n data-value=(p.dose_gy) { (shown(p.dose_gy)) }
            td.n { (p.position_mm.map(position).join(" ")) }
            td.n { @if let Some(index) = p.index { (index.map(|n| n.to_string()).join(", ")) }
                @else { "–" } }
        }
    })
}

/// Width of the bar of all of the sum of squares.
const BAR: f64 = 100.0;

/// What shifts and margins do, for who asked for them; beside the bounds and never among them.
fn shifts(account: &Account<'_>) -> Markup {
    html! {
        @if !account.elsewhere.is_empty() {
            h3 { (elsewhere::HEADING) }
            p { (elsewhere::NOTE) }
            (table("Shifts and margins", &elsewhere::HEADS, account.elsewhere.iter().map(|row| html! {
                @for cell in elsewhere::cells(row) { td { (cell) } }
            })))
        }
    }
}

fn terms(account: &Account<'_>) -> Markup {
    let Some(terms) = &account.terms else {
        return html! { p.note {
            @if account.value.roi_number.is_none() {
                "The terms of regions are not kept: their bounds come from the dose read at every \
                 second voxel, from the bounds of what they are made of, and from chance."
            } @else { "There is no value, and so there are no bounds." }
        } };
    };
    let unit = &account.value.unit;
    let u = format!("Standard uncertainty in {unit}");
    html! {
        p { "The value was computed again with one thing varied at a time. The terms add up in \
             squares to " strong data-value=(terms.together) { (rounded(terms.together)) " " (unit) }
            "; the bounds lie at the value less " (rounded(2.0 * terms.sides[0])) " and plus "
            (rounded(2.0 * terms.sides[1])) " " (unit) ", twice what counts on either side, within \
             what the metric can be at all and what other values of the structure leave open. They \
             say nothing of delineation, setup or registration." }
        (table("Terms of the bounds, largest first", &["Term", &u, "Share of squares", "Varied"],
            terms.list.iter().map(|t| html! {
                th scope="row" { (t.name) }
                td.n data-value=(t.value) { (rounded(t.value)) }
                td.n { (format!("{:.0} %", t.percent))
                    svg.bar viewBox="0 0 100 8" aria-hidden="true" {
                        rect.all width=(BAR) height="8" {}
                        rect.share width=(at(t.percent)) height="8" {}
                    } }
                td.long { (t.meaning) }
            })))
    }
}

fn limits(account: &Account<'_>) -> Markup {
    let checks: Vec<&LimitCheckRow<'_>> =
        account.checks.iter().filter(|c| c.limit_value.is_some()).collect();
    let heads = ["Limit", "Margin", "Verdict", "Tier", "Source", "Evidence"];
    html! {
        @if checks.is_empty() {
            p.note { "The list of limits has none on this metric of this structure for its number \
                of fractions." }
        } @else {
            (scale(account, &checks))
            (table("Limits on this metric", &heads, checks.iter().map(|c| html! {
                th scope="row" { (c.operator) " " (c.limit_value.map(shown).unwrap_or_default()) " "
                    (c.unit) span.sub { "for " (c.limit_fractions) " fractions" } }
                td.n data-value=[c.margin] {
                    @match c.margin { Some(m) => { (shown(m)) }, None => { "unknown" } } }
                td { (verdict_words(Some(c.verdict))) @if !c.reason.is_empty() { span.sub { (c.reason) } } }
                td { (spaced(c.tier_word())) } td { (c.limit_source) } td { (c.evidence) }
            })))
        }
        @if !account.also_limited.is_empty() {
            p { "Other metrics of it that have a limit: " (account.also_limited.join(", ")) "." }
        }
    }
}

/// Value, bounds and limits on one scale.
fn scale(account: &Account<'_>, checks: &[&LimitCheckRow<'_>]) -> Markup {
    let v = &account.value;
    let Some(value) = v.value else { return html! {} };
    let limits: Vec<f64> = checks.iter().filter_map(|c| c.limit_value).collect();
    let known = limits.iter().chain(&v.low).chain(&v.high).chain([&value]);
    let end = 1.15 * known.fold(0.0_f64, |a, b| a.max(*b)).max(f64::MIN_POSITIVE);
    let x = |value: f64| 20.0 + 480.0 * (value / end).clamp(0.0, 1.0);
    let (low, high) = (v.low.unwrap_or(value), v.high.unwrap_or(end));
    let words = format!("Value {} {}, bounds {}", shown(value), v.unit, bounds(v.low, v.high));
    html! {
        figure.single {
            svg viewBox="0 0 520 84" role="img" aria-labelledby="scale-t" {
                title #scale-t { (words) "; limits "
                    (limits.iter().map(|l| shown(*l)).collect::<Vec<_>>().join(", ")) }
                line.axis x1="20" x2="500" y1="52" y2="52" {}
                text.tick x="20" y="70" text-anchor="middle" { "0" }
                text.tick x="500" y="70" text-anchor="end" { (shown(end)) " " (v.unit) }
                @for limit in &limits {
                    line.limit.own x1=(at(x(*limit))) x2=(at(x(*limit))) y1="22" y2="58" {}
                    text.tick x=(at(x(*limit))) y="16" text-anchor="middle" { (shown(*limit)) }
                }
                path.whisker d={ "M" (at(x(low))) " 44v16M" (at(x(low))) " 52H" (at(x(high)))
                    "M" (at(x(high))) " 44v16" } {}
                circle.mark.rank0 cx=(at(x(value))) cy="52" r="5" {}
                text.tick x=(at(x(value))) y="82" text-anchor="middle" { (shown(value)) }
            }
            figcaption { "Dot: value; line through it: numerical bounds; dashed: limits." }
        }
    }
}

fn findings(account: &Account<'_>) -> Markup {
    let heads = ["Severity", "Finding", "About", "State", "Seen, and what it does to the numbers"];
    html! {
        @if account.findings.is_empty() {
            p { "None about this structure, its case or its objects." }
        } @else {
            (table("Findings about this value", &heads, account.findings.iter().map(|f| html! {
                td { (f.row.severity.word()) } th scope="row" { (f.row.code) } td { (f.about) }
                td { (f.row.state.word()) }
                td { (f.row.message) span.sub { (f.consequence) } }
            })))
        }
    }
}

fn planes(account: &Account<'_>) -> Markup {
    let heads = ["Plane", "Position mm", "Stands for mm", "Outlines", "Area mm²"];
    let real = |x: Option<f64>| {
        html! { td.n data-value=[x] { @match x { Some(x) => { (rounded(x)) }, None => { "–" } } } }
    };
    html! {
        @if account.planes.is_empty() { p.note { "No contour plane is in use." } }
        @else {
            (table("Contour planes in use", &heads, account.planes.iter().map(|p| html! {
                th.n scope="row" { (p.number.unwrap_or_default()) }
                (real(p.plane_mm)) (real(p.thickness_mm))
                td.n { @match p.n_outlines { Some(n) => { (n) }, None => { "–" } } }
                (real(p.area_mm2))
            })))
            p.note { "Position along the normal of the planes; outlines count holes too." }
        }
    }
}

//! What the doses of one plan come to: by Dose Summation Type (DICOM PS3.3 C.8.8.3), Dose Type,
//! Dose Units, equality of voxels and the regions that the grids cover. Never by order, date or
//! fineness of the grid; where that leaves several, the user decides.

use super::region::{GridLayout, layout};
use super::summation::{is_copy, sum};
use super::{list, subject};
use crate::{DosePart, DoseSource};
use tidydose_geometry::units::Gray;
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::identity::Token;
use tidydose_rt::{DoseHeader, DoseSummation, DoseType, DoseUnits, Plan};

/// What the choice depends on beside the doses.
#[derive(Clone, Copy)]
pub(super) struct Asked<'a> {
    /// The case, as the findings name it.
    pub(super) case: &'a Token,
    /// The plan, where there is one.
    pub(super) plan: Option<&'a Plan>,
    /// The dose that the user decided for.
    pub(super) decided: Option<&'a Token>,
    /// What relative value 1 stands for, if the user said so.
    pub(super) relative_unit: Option<Gray>,
}

/// What the doses of one plan come to.
pub(super) struct Choice<'a> {
    /// The dose of the plan, also when it cannot be measured.
    pub(super) dose: Option<&'a DoseHeader>,
    /// How the measured dose comes from stored grids.
    pub(super) source: DoseSource,
    /// Why the case has to be left out.
    pub(super) refusal: Option<(Code, String)>,
    /// Findings about doses that were set aside, summed or multiplied.
    pub(super) remarks: Vec<Finding>,
}

/// Picks or makes the dose of a plan.
pub(super) fn choose<'a>(doses: &[&'a DoseHeader], asked: Asked<'_>) -> Choice<'a> {
    let mut choice =
        Choice { dose: None, source: DoseSource::default(), refusal: None, remarks: Vec::new() };
    let (whole, parts): (Vec<&DoseHeader>, Vec<&DoseHeader>) =
        doses.iter().partition(|d| is_whole_of(d, asked.plan));
    let whole = choice.without_copies(&whole, asked);
    let (unusable, usable): (Vec<&DoseHeader>, Vec<&DoseHeader>) =
        whole.iter().partition(|d| asked.defect(d).is_some());
    let decided = asked
        .decided
        .and_then(|token| usable.iter().copied().find(|dose| dose.origin.object == *token));
    match (decided, usable.as_slice(), unusable.as_slice()) {
        (Some(dose), _, _) => choice.take(dose, "the dose that the user decided for", asked),
        (None, [one], _) => choice.take(one, "", asked),
        (None, [], bad) => match (sum(&parts, asked.plan), bad) {
            (Ok(sum), _) => {
                choice.take_sum(&parts, sum, asked);
                choice.set_aside(&whole, &[], asked);
                return choice;
            }
            (Err(_), [one]) => {
                choice.dose = Some(one);
                choice.refusal = asked.defect(one);
            }
            (Err(lacks), []) if !parts.is_empty() => {
                choice.refusal = Some((Code::DoseSummationUnused, only_parts(&parts, &lacks)));
            }
            (Err(_), []) => {}
            (Err(_), several) => {
                choice.refusal = Some((Code::DoseSeveral, candidates(several)));
            }
        },
        (None, several, _) => choice.take_regions(several, asked),
    }
    choice.set_aside(&whole, &parts, asked);
    choice
}

impl<'a> Choice<'a> {
    /// Doses with the same voxels count once; the first by token stands for them.
    fn without_copies(
        &mut self,
        doses: &[&'a DoseHeader],
        asked: Asked<'_>,
    ) -> Vec<&'a DoseHeader> {
        let mut sorted = doses.to_vec();
        // The one the user decided for stands for its copies.
        let later = |d: &DoseHeader| asked.decided != Some(&d.origin.object);
        sorted.sort_by_key(|d| (later(d), &d.origin.object));
        let mut kept: Vec<&DoseHeader> = Vec::new();
        for dose in sorted {
            match kept.iter().find(|k| is_copy(k, dose)) {
                Some(first) => {
                    let text = format!("the same voxels as {}, which is used", first.origin.object);
                    self.remark(Code::DoseRepeated, dose, text, asked);
                }
                None => kept.push(dose),
            }
        }
        kept.sort_by_key(|d| &d.origin.object);
        kept
    }

    fn remark(&mut self, code: Code, dose: &DoseHeader, text: String, asked: Asked<'_>) {
        self.remarks.push(Finding::new(code, subject(&dose.origin, Some(asked.case)), text));
    }

    fn take(&mut self, dose: &'a DoseHeader, how: &str, asked: Asked<'_>) {
        self.dose = Some(dose);
        self.source.words = match how {
            "" => format!("one {} grid", dose.summation.term()),
            how => how.to_owned(),
        };
        if let (DoseUnits::Relative, Some(unit)) = (dose.units, asked.relative_unit) {
            self.source.parts = vec![DosePart { dose: dose.clone(), factor: unit.value() }];
            self.source.words.push_str(", relative dose with the reference of the user");
            let text = format!("relative value 1 stands for {unit}");
            self.remark(Code::DoseReferenceByUser, dose, text, asked);
        }
    }

    fn take_sum(
        &mut self,
        doses: &[&'a DoseHeader],
        sum: super::summation::SummedDose,
        asked: Asked<'_>,
    ) {
        let object = |d: &DoseHeader| d.origin.object.clone();
        let used: Vec<Token> = sum.parts.iter().map(|p| object(&p.dose)).collect();
        for dose in doses.iter().filter(|d| !used.contains(&object(d))) {
            self.remarks.push(part(dose, asked.case));
        }
        self.dose = doses
            .iter()
            .copied()
            .filter(|d| used.contains(&object(d)))
            .min_by_key(|d| &d.origin.object);
        let code = if sum.multiplied { Code::DoseMultiplied } else { Code::DoseSummed };
        if let Some(dose) = self.dose.filter(|_| sum.multiplied || used.len() > 1) {
            let text = format!("{}: {}", sum.words, list(&used));
            self.remark(code, dose, text, asked);
        }
        self.source = DoseSource { parts: sum.parts, local: Vec::new(), words: sum.words };
    }

    /// Several grids of the whole plan: one dose in several regions, or doses to choose from.
    fn take_regions(&mut self, doses: &[&'a DoseHeader], asked: Asked<'_>) {
        let (main, words) = match layout(doses) {
            GridLayout::Regions(main) => {
                (main, format!("{} grids, each of another region", doses.len()))
            }
            GridLayout::WholeAndRegions(main) => {
                (main, format!("one grid and {} of regions within it", doses.len() - 1))
            }
            GridLayout::Rivals => {
                self.refusal = Some((Code::DoseSeveral, candidates(doses)));
                return;
            }
        };
        self.dose = Some(main);
        let others = doses.iter().filter(|d| d.origin != main.origin);
        self.source.local = others.map(|d| (*d).clone()).collect();
        self.source.words.clone_from(&words);
        let text = format!("{words}: {}", list(doses.iter().map(|d| &d.origin.object)));
        self.remark(Code::DoseGridsLocal, main, text, asked);
    }

    /// One finding for every dose that is not used.
    fn set_aside(&mut self, whole: &[&DoseHeader], parts: &[&DoseHeader], asked: Asked<'_>) {
        self.remarks.extend(parts.iter().map(|d| part(d, asked.case)));
        let used = |d: &DoseHeader| {
            self.dose.is_some_and(|c| c.origin == d.origin)
                || self.source.local.iter().any(|l| l.origin == d.origin)
        };
        let unused: Vec<_> = whole.iter().filter(|d| !used(d)).collect();
        for other in unused {
            let (code, message) = asked
                .defect(other)
                .or_else(|| self.refusal.clone())
                .unwrap_or((Code::ObjectUnused, "another dose of the plan is used".to_owned()));
            self.remark(code, other, message, asked);
        }
    }
}

impl Asked<'_> {
    fn defect(&self, dose: &DoseHeader) -> Option<(Code, String)> {
        dose_defect(dose)
            .filter(|(code, _)| *code != Code::DoseRelative || self.relative_unit.is_none())
    }
}

/// Whether a dose holds the whole plan rather than a beam, a fraction group or a session.
#[must_use]
pub fn is_whole_dose(dose: &DoseHeader) -> bool {
    match dose.summation {
        DoseSummation::Plan | DoseSummation::PlanOverview => true,
        DoseSummation::MultiPlan => dose.plans.len() <= 1,
        _ => false,
    }
}

/// As [`is_whole_dose`]; a plan overview must hold as many fractions as the plan has, where both say so.
fn is_whole_of(dose: &DoseHeader, plan: Option<&Plan>) -> bool {
    let planned = plan.and_then(Plan::fractions);
    let included =
        dose.overview_fractions.filter(|_| dose.summation == DoseSummation::PlanOverview);
    is_whole_dose(dose)
        && included.zip(planned).is_none_or(|(included, planned)| included == planned)
}

/// Why a dose of a whole plan cannot be measured in gray.
#[must_use]
pub fn dose_defect(dose: &DoseHeader) -> Option<(Code, String)> {
    if dose.kind == DoseType::Error {
        let message = "Dose Type is ERROR; PHYSICAL or EFFECTIVE would be accepted";
        return Some((Code::DoseErrorType, message.to_owned()));
    }
    if dose.grid.is_none() {
        let message =
            "the dose of the plan has no voxel grid; one with Pixel Data would be accepted";
        return Some((Code::DoseWithoutGrid, message.to_owned()));
    }
    (dose.units == DoseUnits::Relative).then(|| {
        let largest = dose.maximum.map_or(String::new(), |m| format!(" (largest value {m})"));
        let message = format!("Dose Units is RELATIVE{largest}; GY would be accepted");
        (Code::DoseRelative, message)
    })
}

fn part(dose: &DoseHeader, case: &Token) -> Finding {
    let message = match (dose.summation, dose.overview_fractions) {
        (DoseSummation::PlanOverview, Some(n)) => {
            format!("it includes {n} fractions, not those of the plan")
        }
        (summation, _) => format!("Dose Summation Type is {}, not PLAN", summation.term()),
    };
    Finding::new(Code::DoseSummationUnused, subject(&dose.origin, Some(case)), message)
}

fn only_parts(parts: &[&DoseHeader], lacks: &[String]) -> String {
    let mut terms: Vec<&str> = parts.iter().map(|d| d.summation.term()).collect();
    terms.sort_unstable();
    terms.dedup();
    let lacks = match lacks {
        [] => String::new(),
        lacks => format!(" They do not add up to it. {}.", lacks.join("; ")),
    };
    format!(
        "{} dose grids of the plan are there, of Dose Summation Type {}, and none of the whole \
         plan; one with PLAN, PLAN_OVERVIEW, or MULTI_PLAN of this plan alone would be \
         accepted: {}.{lacks}",
        parts.len(),
        terms.join(", "),
        list(parts.iter().map(|d| &d.origin.object))
    )
}

fn candidates(doses: &[&DoseHeader]) -> String {
    let mut texts: Vec<String> = doses.iter().map(|d| describe(d)).collect();
    texts.sort();
    format!(
        "{} dose grids of the whole plan; one would be accepted: {}",
        doses.len(),
        texts.join("; ")
    )
}

fn describe(dose: &DoseHeader) -> String {
    let kind = match dose.kind {
        DoseType::Physical => "PHYSICAL",
        DoseType::Effective => "EFFECTIVE",
        DoseType::Error => "ERROR",
    };
    let spacing = dose.grid.as_ref().map_or_else(
        || "no grid".to_owned(),
        |grid| {
            let [rows, columns] = grid.spacing_mm();
            let offsets = grid.offsets_mm();
            let planes = match (offsets.first(), offsets.get(1)) {
                (Some(a), Some(b)) => format!("{:.3}", b - a),
                _ => "single plane".to_owned(),
            };
            format!("{rows:.3} x {columns:.3} x {planes} mm")
        },
    );
    let largest = dose.maximum.map_or(String::new(), |m| format!(", largest {m:.3}"));
    let density = dose.heterogeneity.as_ref().map_or(String::new(), |h| format!(", {h}"));
    format!(
        "{} ({} {kind}, {spacing}{largest}{density})",
        dose.origin.object,
        dose.summation.term()
    )
}

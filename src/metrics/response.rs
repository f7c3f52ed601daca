//! Biologically effective and equivalent doses of the prescription and of a structure. Each part
//! of a structure is converted with the fraction dose that it receives itself, and averaged
//! afterwards. Research models.

use super::dose_at_volume::dose_at_cc;
use super::radiobiology::{Model, cell_kill_eud, eqd2, generalised_eud, single_fraction};
use super::range::{Fed, Range};
use super::{
    AppliesTo, Biology, Definition, Need, Outcome, Place, Provenance, Scale, Status, Subject, Worse,
};

/// Fractions of a plan with the structure's radiobiology.
pub(super) struct Course<'a> {
    pub(super) biology: &'a Biology,
    pub(super) fractions: f64,
}

/// # Errors
/// The outcome of a plan that does not state its fractions.
pub(super) fn course<'a>(s: &Subject<'a>) -> Result<Course<'a>, Outcome> {
    let none = |reason: &str| Outcome::none(Status::NotApplicable, reason);
    let biology = s.biology.ok_or_else(|| none("no radiobiological parameters are known"))?;
    let fractions = biology
        .fractions
        .filter(|n| *n > 0)
        .ok_or_else(|| none("the plan does not state the number of fractions"))?;
    Ok(Course { biology, fractions: f64::from(fractions) })
}

/// EQD2 of each part of a structure with its volume.
pub(super) fn converted<'a>(
    s: &Subject<'a>,
    c: &Course<'a>,
) -> Result<impl Iterator<Item = (f64, f64)> + Clone + use<'a>, Outcome> {
    let (n, ab) = (c.fractions, c.biology.alpha_beta_gy);
    Ok(s.complete_dvh()?.parts().map(move |(d, v)| (eqd2(d, n, ab), v)))
}

fn mean_bed(s: &Subject<'_>, model: fn(f64) -> Model) -> Result<f64, Outcome> {
    let c = course(s)?;
    let dvh = s.complete_dvh()?;
    let model = model(c.biology.alpha_beta_gy);
    let sum: f64 = dvh.parts().map(|(d, v)| v * model.bed(d, c.fractions)).sum();
    Ok(sum / dvh.volume_mm3())
}

fn rx_bed(s: &Subject<'_>, model: fn(f64) -> Model) -> Result<f64, Outcome> {
    let (dose_gy, c) = (s.rx()?.dose_gy, course(s)?);
    Ok(model(c.biology.alpha_beta_gy).bed(dose_gy, c.fractions))
}

const fn lq(alpha_beta: f64) -> Model {
    Model::Lq { alpha_beta }
}

const fn lq_linear(alpha_beta: f64) -> Model {
    Model::LqLinear { alpha_beta }
}

/// α/β and fractions as they stand in column `method`.
pub(super) fn parameters(s: &Subject<'_>) -> String {
    let Some(b) = s.biology else { return String::new() };
    let fractions = b.fractions.map_or_else(|| "unknown".to_owned(), |n| n.to_string());
    format!("alpha/beta {} Gy ({}), fractions {fractions}", b.alpha_beta_gy, b.alpha_beta_basis)
}

fn fractions_only(s: &Subject<'_>, model: &str) -> String {
    let n = s.biology.and_then(|b| b.fractions);
    let fractions = n.map_or_else(|| "unknown".to_owned(), |n| n.to_string());
    format!("{model}, fractions {fractions}")
}

/// Brenner 2008, Semin Radiat Oncol 18:234: abstract read.
const LQ_RANGE: Range = Range::any(
    "any dose a fraction as a conversion of doses; what it says of an effect is validated to about \
     10 Gy and usable to about 18 Gy a fraction (Brenner 2008, abstract read), disputed above",
);
const LQL_RANGE: Range = Range::any(
    "any dose a fraction: it is made for large ones, straight beyond 2·α/β (not yet checked against a source)",
);
const USC_RANGE: Range = Range::any(
    "any dose a fraction: straight beyond 6.1 Gy; fitted to cells of one kind of lung cancer (not \
     yet checked against the source)",
);
/// Beyond its inflection at DL the cubic turns away from the straight line that survival curves
/// follow at large doses, by (d − DL)³/(3·(α/β)·DL): by 1 % of it at 25 Gy. From 41.2 Gy on, the
/// root of 1 + 2·d/(α/β) − d²/((α/β)·DL), it falls with dose, and below 0 from 64.1 Gy on.
const LQC_RANGE: Range = Range {
    words: "up to 25 Gy a fraction: beyond the inflection at 18 Gy the cubic falls behind a straight \
            survival curve, by 1 % there, and from 41 Gy on more dose would count less (own \
            arithmetic)",
    up_to_gy: 25.0,
    of: Fed::Structure,
};
const MEAN_RANGE: Range = Range::any(
    "any dose: a weighted mean of the doses that are there, no statement on their effect",
);

/// What the metrics of one model of the effect of a dose share.
struct EffectModel {
    reference: &'static str,
    provenance: Provenance,
    holds: Range,
    rule: fn(&Subject<'_>, f64) -> String,
}

const LQ_MODEL: EffectModel = EffectModel {
    reference: "Fowler 1989, Br J Radiol 62:679; Withers et al. 1983 (EQD2)",
    provenance: Provenance::Read,
    holds: LQ_RANGE,
    rule: |s, _| parameters(s),
};

const LQL_MODEL: EffectModel = EffectModel {
    reference: "Astrahan 2008, Med Phys 35:4161",
    provenance: Provenance::Memory,
    holds: LQL_RANGE,
    rule: |s, _| parameters(s),
};

const USC_MODEL: EffectModel = EffectModel {
    reference: "Park et al. 2008, Int J Radiat Oncol Biol Phys 70:847 (lung cancer cells)",
    provenance: Provenance::Memory,
    holds: USC_RANGE,
    rule: |s, _| fractions_only(s, "USC alpha 0.33 /Gy, D0 1.25 Gy, Dq 1.8 Gy"),
};

const LQC_MODEL: EffectModel = EffectModel {
    reference: "Joiner; Wiggenraad et al. 2011, Radiother Oncol 98:292",
    provenance: Provenance::Memory,
    holds: LQC_RANGE,
    rule: |s, _| fractions_only(s, "LQC alpha/beta 12 Gy, DL 18 Gy"),
};

/// A metric of the prescription by this model.
const fn of_rx(model: &EffectModel) -> Definition {
    Definition {
        unit: "Gy",
        reference: model.reference,
        provenance: model.provenance,
        holds: Some(Range { of: Fed::Prescription, ..model.holds }),
        undefined: "no prescription, or the number of fractions is not known",
        applies_to: AppliesTo::Target,
        needs: &[Need::Biology],
        scatters: false,
        rule: model.rule,
        ..Definition::PLAIN
    }
}

/// A metric of the doses in a structure by this model.
const fn of_structure(model: &EffectModel) -> Definition {
    Definition {
        unit: "Gy",
        reference: model.reference,
        provenance: model.provenance,
        holds: Some(model.holds),
        undefined: "the number of fractions is not known, or the dose grid does not cover the \
                    structure",
        needs: &[Need::Biology],
        rule: model.rule,
        scale: Scale::Dose,
        ..Definition::PLAIN
    }
}

const OF_RX: Definition = of_rx(&LQ_MODEL);
const OF_STRUCTURE: Definition = of_structure(&LQ_MODEL);

pub(super) static RX_BED: Definition = Definition {
    name: "RxBED[Gy]",
    title: "biologically effective dose of the prescription, linear-quadratic (research model)",
    formula: "n·d·(1 + d/(α/β))",
    compute: |s, _| Outcome::from_result(rx_bed(s, lq)),
    ..OF_RX
};

pub(super) static RX_EQD2: Definition = Definition {
    name: "RxEQD2[Gy]",
    title: "prescription in fractions of 2 Gy with the same linear-quadratic effect (research model)",
    formula: "D·(d + α/β)/(2 + α/β)",
    compute: |s, _| {
        let value = || {
            let (dose_gy, c) = (s.rx()?.dose_gy, course(s)?);
            Ok(eqd2(dose_gy, c.fractions, c.biology.alpha_beta_gy))
        };
        Outcome::from_result(value())
    },
    ..OF_RX
};

pub(super) static RX_SINGLE: Definition = Definition {
    name: "RxSingleFraction[Gy]",
    title: "prescription as a single fraction with the same linear-quadratic effect (research model)",
    formula: "(α/β)/2·(√(1 + 4·BED/(α/β)) − 1)",
    reference: "algebra on the linear-quadratic model",
    provenance: Provenance::CommonPractice,
    compute: |s, _| {
        let value = || Ok(single_fraction(rx_bed(s, lq)?, course(s)?.biology.alpha_beta_gy));
        Outcome::from_result(value())
    },
    ..OF_RX
};

/// How cells that multiply take dose away.
struct Repopulation {
    /// Rate of cell kill, per Gy.
    alpha: f64,
    doubling_days: f64,
    onset_days: f64,
}

/// For fast tumours of the head and neck; there are no such numbers for the brain.
const REPOPULATION: Repopulation =
    Repopulation { alpha: 0.3, doubling_days: 5.0, onset_days: 28.0 };

/// Dose that repopulation takes away from the biologically effective dose, Gy.
fn repopulated_gy(days: f64, by: &Repopulation) -> f64 {
    std::f64::consts::LN_2 * (days - by.onset_days).max(0.0) / (by.alpha * by.doubling_days)
}

fn repopulation_words(s: &Subject<'_>) -> String {
    let Repopulation { alpha, doubling_days, onset_days } = REPOPULATION;
    let days = s.biology.and_then(|b| b.days);
    let days = days.map_or_else(|| "unknown".to_owned(), |n| n.to_string());
    format!(
        "{}, alpha {alpha} /Gy, doubling time {doubling_days} days from day {onset_days} on, {days} days",
        parameters(s)
    )
}

pub(super) static RX_REPOPULATED: Definition = Definition {
    name: "RxBED_Repopulation[Gy]",
    title: "biologically effective dose of the prescription less what tumour cells that multiply \
            during a long course take away (research model)",
    formula: "BED − ln 2·(T − Tk)/(α·Tpot) for T > Tk, T from the first day of treatment to the last",
    reference: "textbook form; parameters of fast tumours, not of the brain (neither yet checked against a source)",
    provenance: Provenance::Memory,
    undefined: "no prescription, the number of fractions is not known, or no treatment record \
                states the first day and the last",
    holds: Some(Range::any(
        "any dose a fraction as a conversion of doses, and courses from which repopulation takes \
         less than they give",
    )),
    rule: |s, _| repopulation_words(s),
    compute: |s, _| {
        let value = || {
            let unknown = "no treatment record states the first and the last day";
            let days = course(s)?.biology.days;
            let days = days.ok_or_else(|| Outcome::none(Status::NotApplicable, unknown))?;
            let (given, taken) = (rx_bed(s, lq)?, repopulated_gy(f64::from(days), &REPOPULATION));
            if taken > given {
                let reason = format!(
                    "the model takes {taken:.1} Gy away in {days} days, more than the {given:.1} Gy \
                     that were given"
                );
                return Err(Outcome::none(Status::NotApplicable, reason));
            }
            Ok(given - taken)
        };
        Outcome::from_result(value())
    },
    ..OF_RX
};

pub(super) static RX_LQL: Definition = Definition {
    name: "RxBED_LQL[Gy]",
    title: "biologically effective dose of the prescription, linear-quadratic-linear (research model)",
    formula: "per fraction: LQ up to DT = 2·α/β, then its tangent of slope 1 + 2·DT/(α/β)",
    compute: |s, _| Outcome::from_result(rx_bed(s, lq_linear)),
    ..of_rx(&LQL_MODEL)
};

pub(super) static RX_USC: Definition = Definition {
    name: "RxBED_USC[Gy]",
    title: "biologically effective dose of the prescription, universal survival curve (research model)",
    formula: "per fraction: LQ up to DT = 2·Dq/(1 − α·D0), then (d − Dq)/(α·D0)",
    compute: |s, _| Outcome::from_result(rx_bed(s, |_| Model::UniversalSurvival)),
    ..of_rx(&USC_MODEL)
};

pub(super) static RX_LQC: Definition = Definition {
    name: "RxBED_LQC[Gy]",
    title: "biologically effective dose of the prescription, linear-quadratic-cubic (research model)",
    formula: "n·d·(1 + d/(α/β) − d²/(3·(α/β)·DL))",
    compute: |s, _| Outcome::from_result(rx_bed(s, |_| Model::LqCubic)),
    ..of_rx(&LQC_MODEL)
};

pub(super) static MEAN_BED: Definition = Definition {
    name: "MeanBED[Gy]",
    title: "mean biologically effective dose, linear-quadratic, each part by its own fraction dose \
            (research model)",
    formula: "∫ D·(1 + D/(n·α/β)) dV / V",
    compute: |s, _| Outcome::from_result(mean_bed(s, lq)),
    worse: Worse::of_dose,
    ..OF_STRUCTURE
};

pub(super) static MEAN_EQD2: Definition = Definition {
    name: "MeanEQD2[Gy]",
    title: "mean dose in fractions of 2 Gy, each part by its own fraction dose (research model)",
    formula: "mean BED / (1 + 2/(α/β))",
    compute: |s, _| {
        let value = || Ok(mean_bed(s, lq)? / (1.0 + 2.0 / course(s)?.biology.alpha_beta_gy));
        Outcome::from_result(value())
    },
    worse: Worse::of_dose,
    ..OF_STRUCTURE
};

pub(super) static MEAN_LQL: Definition = Definition {
    name: "MeanBED_LQL[Gy]",
    title: "mean biologically effective dose, linear-quadratic-linear (research model)",
    formula: "mean of the LQ-L form over the parts",
    compute: |s, _| Outcome::from_result(mean_bed(s, lq_linear)),
    worse: Worse::of_dose,
    ..of_structure(&LQL_MODEL)
};

pub(super) static MEAN_USC: Definition = Definition {
    name: "MeanBED_USC[Gy]",
    title: "mean biologically effective dose of a target, universal survival curve (research model)",
    formula: "mean of the universal survival curve over the parts",
    applies_to: AppliesTo::Target,
    compute: |s, _| Outcome::from_result(mean_bed(s, |_| Model::UniversalSurvival)),
    worse: Worse::of_dose,
    ..of_structure(&USC_MODEL)
};

pub(super) static MEAN_LQC: Definition = Definition {
    name: "MeanBED_LQC[Gy]",
    title: "mean biologically effective dose of a target, linear-quadratic-cubic (research model)",
    formula: "mean of the LQC form over the parts",
    applies_to: AppliesTo::Target,
    compute: |s, _| Outcome::from_result(mean_bed(s, |_| Model::LqCubic)),
    worse: Worse::of_dose,
    ..of_structure(&LQC_MODEL)
};

pub(super) static HOTTEST_EQD2: Definition = Definition {
    name: "D{x}ccEQD2[Gy]",
    title: "least dose in the hottest x cc, in fractions of 2 Gy (research model)",
    formula: "EQD2 of Dxcc with its own fraction dose",
    undefined: "as Dxcc; the number of fractions is not known",
    standard: &[0.03],
    arguments: [0.0, 10_000.0],
    compute: |s, x| {
        let c = match course(s) {
            Ok(c) => c,
            Err(outcome) => return outcome,
        };
        let convert = |d: f64| eqd2(d, c.fractions, c.biology.alpha_beta_gy);
        let dose = dose_at_cc(s, x);
        Outcome { value: dose.value.map(convert), low: dose.low.map(convert), ..dose }
    },
    worse: Worse::of_dose,
    ..OF_STRUCTURE
};

/// Exponent of the generalised equivalent uniform dose of a target; from memory.
const TARGET_EXPONENT: f64 = -10.0;

/// The exponent, where one is known.
pub(super) fn exponent(b: &Biology) -> Option<f64> {
    if b.is_target { Some(TARGET_EXPONENT) } else { b.organ.map(|o| 1.0 / o.n) }
}

fn known_exponent(s: &Subject<'_>) -> Result<f64, Outcome> {
    s.biology.and_then(exponent).ok_or_else(|| {
        Outcome::none(Status::NotApplicable, "no volume exponent is known for this structure")
    })
}

fn exponent_words(s: &Subject<'_>) -> String {
    s.biology.and_then(exponent).map_or_else(String::new, |a| format!("a {a:.3}"))
}

const NIEMIERKO: &str = "Niemierko 1999 (abstract); a −10 for targets, 1/n of Burman et al. 1991";

pub(super) static GEUD: Definition = Definition {
    name: "gEUD[Gy]",
    title: "generalised equivalent uniform dose of the physical dose (research model)",
    formula: "(∫ Dᵃ dV / V)^(1/a)",
    reference: NIEMIERKO,
    provenance: Provenance::Memory,
    undefined: "no exponent is known, or the dose grid does not cover the structure",
    holds: Some(MEAN_RANGE),
    place: |_, _| Place::mean_dose(),
    compute: |s, _| {
        let value = || {
            let a = known_exponent(s)?;
            generalised_eud(s.complete_dvh()?.parts(), a).ok_or_else(no_volume)
        };
        Outcome::from_result(value())
    },
    rule: |s, _| exponent_words(s),
    worse: Worse::of_dose,
    ..OF_STRUCTURE
};

pub(super) static GEUD_EQD2: Definition = Definition {
    name: "gEUD_EQD2[Gy]",
    title: "generalised equivalent uniform dose in fractions of 2 Gy, each part by its own fraction \
            dose (research model)",
    formula: "(∫ EQD2(D)ᵃ dV / V)^(1/a)",
    reference: NIEMIERKO,
    provenance: Provenance::Memory,
    undefined: "no exponent is known, the number of fractions is not known, or the dose grid does \
                not cover the structure",
    compute: |s, _| Outcome::from_result(equivalent(s)),
    rule: |s, _| {
        // Without an exponent there is nothing to say of it.
        let words = [exponent_words(s), parameters(s)];
        let said: Vec<String> = words.into_iter().filter(|w| !w.is_empty()).collect();
        said.join(", ")
    },
    worse: Worse::of_dose,
    ..OF_STRUCTURE
};

/// Generalised equivalent uniform dose in fractions of 2 Gy.
pub(super) fn equivalent(s: &Subject<'_>) -> Result<f64, Outcome> {
    let a = known_exponent(s)?;
    let c = course(s)?;
    generalised_eud(converted(s, &c)?, a).ok_or_else(no_volume)
}

pub(super) fn no_volume() -> Outcome {
    Outcome::none(Status::Empty, "no volume was sampled")
}

/// Surviving fraction at 2 Gy of the cell-kill model; from memory.
const SURVIVING: f64 = 0.5;

pub(super) static CELL_KILL_EUD: Definition = Definition {
    name: "CellKillEUD[Gy]",
    title: "equivalent uniform dose of a target by cell kill, in fractions of 2 Gy (research model)",
    formula: "2 Gy · ln(∫ SF2^(EQD2/2) dV / V) / ln SF2",
    reference: "Niemierko 1997, Med Phys 24:103",
    provenance: Provenance::Memory,
    applies_to: AppliesTo::Target,
    compute: |s, _| {
        let value = || {
            let c = course(s)?;
            cell_kill_eud(converted(s, &c)?, SURVIVING).ok_or_else(no_volume)
        };
        Outcome::from_result(value())
    },
    rule: |s, _| format!("SF2 {SURVIVING}, {}", parameters(s)),
    worse: Worse::of_dose,
    ..OF_STRUCTURE
};

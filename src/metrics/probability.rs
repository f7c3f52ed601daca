//! Probabilities of complication and of control by published models, fed with EQD2 of each part of
//! a structure. Research models with parameters from memory: for comparing plans in a study, never
//! for a patient.

use super::organ_models::{OrganModel, Seriality};
use super::range::{Fed, Range};
use super::response::{converted, course, equivalent, no_volume, parameters};
use super::{
    AppliesTo, Definition, Need, Outcome, PhysicalRange, Provenance, Scale, Status, Subject, Worse,
};

/// Unlike a converted dose, a probability is a statement on the effect.
const MODEL_RANGE: Range = Range {
    words: "up to 18 Gy a fraction, to which the linear-quadratic conversion is usable (Brenner 2008, \
            abstract read); the parameters are fits to fractions of about 2 Gy (not yet checked against a source)",
    up_to_gy: 18.0,
    of: Fed::Structure,
};

const MODEL: Definition = Definition {
    physical_range: PhysicalRange::SHARE,
    provenance: Provenance::Memory,
    holds: Some(MODEL_RANGE),
    needs: &[Need::Biology],
    scale: Scale::Whole(1.0),
    ..Definition::PLAIN
};

const NTCP: Definition = Definition {
    undefined: "the number of fractions is not known, or the dose grid does not cover the organ",
    applies_to: AppliesTo::ModelledOrgan,
    worse: Worse::higher,
    ..MODEL
};

fn organ(s: &Subject<'_>) -> Result<&'static OrganModel, Outcome> {
    let known = s.biology.and_then(|b| b.organ);
    known.ok_or_else(|| {
        Outcome::none(Status::NotApplicable, "no model parameters are known for this structure")
    })
}

/// Probability below `x` of the standard normal distribution: by the complementary error function
/// of Abramowitz and Stegun 7.1.26 refined by its continued fraction where that converges.
#[must_use]
fn normal(x: f64) -> f64 {
    let z = x.abs() / std::f64::consts::SQRT_2;
    let half = complementary_error(z) / 2.0;
    if x > 0.0 { 1.0 - half } else { half }
}

/// erfc for z ≥ 0: the series of erf below 2, the continued fraction above; both to 1e-13.
fn complementary_error(z: f64) -> f64 {
    let root_pi = std::f64::consts::PI.sqrt();
    if z < 2.0 {
        // erf z = 2/√π · e^(−z²) · Σ 2ᵏ z^(2k+1) / (2k+1)!!
        let (mut term, mut sum) = (z, z);
        for k in 1..80 {
            term *= 2.0 * z * z / f64::from(2 * k + 1);
            sum += term;
        }
        return 1.0 - 2.0 / root_pi * (-z * z).exp() * sum;
    }
    let tail = (1..60).rev().fold(z, |below, k| z + f64::from(k) / 2.0 / below);
    (-z * z).exp() / (root_pi * tail)
}

fn lkb(eud: f64, model: &OrganModel) -> f64 {
    normal((eud - model.td50_gy) / (model.m * model.td50_gy))
}

fn logistic(eud: f64, half_gy: f64, gamma: f64) -> f64 {
    if eud <= 0.0 {
        return 0.0;
    }
    1.0 / (1.0 + (half_gy / eud).powf(4.0 * gamma))
}

fn lkb_words(s: &Subject<'_>) -> String {
    let words = |o: &OrganModel| {
        let [d, n, m] = [o.td50_gy, o.n, o.m];
        format!("{}: TD50 {d} Gy, n {n}, m {m}, {}", o.endpoint, parameters(s))
    };
    organ(s).map_or_else(|_| String::new(), words)
}

pub(super) static LKB: Definition = Definition {
    name: "NTCP_LKB",
    title: "complication probability by Lyman, Kutcher and Burman (research model)",
    formula: "Φ((gEUD_EQD2 − TD50) / (m·TD50))",
    reference: "Lyman 1985, Radiat Res 104:S13; Kutcher and Burman 1989; parameters: Burman 1991",
    compute: |s, _| {
        let value = || Ok(lkb(equivalent(s)?, organ(s)?));
        Outcome::from_result(value())
    },
    rule: |s, _| lkb_words(s),
    ..NTCP
};

/// Slope γ50 of the logistic form with the steepness of the probit form at TD50.
fn gamma50(m: f64) -> f64 {
    1.0 / (m * std::f64::consts::TAU.sqrt())
}

pub(super) static LOGISTIC_NTCP: Definition = Definition {
    name: "NTCP_Logistic",
    title: "complication probability by Niemierko's logistic form (research model)",
    formula: "1 / (1 + (TD50/gEUD_EQD2)^(4·γ50)), γ50 = 1/(m·√(2π))",
    reference: "Niemierko 1999 (abstract); parameters: Burman 1991",
    compute: |s, _| {
        let value = || {
            let o = organ(s)?;
            Ok(logistic(equivalent(s)?, o.td50_gy, gamma50(o.m)))
        };
        Outcome::from_result(value())
    },
    rule: |s, _| lkb_words(s),
    ..NTCP
};

/// Probability of an even dose to the whole organ by the Poisson form.
fn poisson(dose_gy: f64, model: Seriality) -> f64 {
    let slope = std::f64::consts::E * model.gamma;
    (-std::f64::consts::LN_2 * (slope * (1.0 - dose_gy / model.d50_gy)).exp()).exp()
}

fn relative_seriality(
    parts: impl Iterator<Item = (f64, f64)> + Clone,
    model: Seriality,
) -> Option<f64> {
    // A part without volume would multiply the infinite logarithm of a certain harm by nothing.
    let parts = parts.filter(|part| part.1 > 0.0);
    let whole: f64 = parts.clone().map(|p| p.1).sum();
    let s = model.s;
    let spared: f64 =
        parts.map(|(d, v)| v / whole * (-poisson(d, model).powf(s)).ln_1p()).sum::<f64>();
    (whole > 0.0).then(|| (-spared.exp_m1()).max(0.0).powf(1.0 / s))
}

pub(super) static RELATIVE_SERIALITY: Definition = Definition {
    name: "NTCP_RelativeSeriality",
    title: "complication probability by relative seriality (research model)",
    formula: "(1 − Π (1 − P(EQD2ᵢ)ˢ)^vᵢ)^(1/s), P(D) = 2^(−exp(e·γ·(1 − D/D50)))",
    reference: "Källman et al. 1992, Int J Radiat Biol 62:249",
    undefined: "no parameters are known for the organ, the number of fractions is not known, or \
                the dose grid does not cover the organ",
    compute: |s, _| {
        let value = || {
            let model = organ(s)?.seriality.ok_or_else(|| {
                let reason = "no parameters of relative seriality are known for this organ";
                Outcome::none(Status::NotApplicable, reason)
            })?;
            relative_seriality(converted(s, &course(s)?)?, model).ok_or_else(no_volume)
        };
        Outcome::from_result(value())
    },
    rule: |s, _| {
        let Ok(organ) = organ(s) else { return String::new() };
        let Some(Seriality { d50_gy, gamma, s: serial }) = organ.seriality else {
            return String::new();
        };
        let endpoint = organ.endpoint;
        format!("{endpoint}: D50 {d50_gy} Gy, gamma {gamma}, s {serial}, {}", parameters(s))
    },
    ..NTCP
};

const TCP: Definition = Definition {
    undefined: "the number of fractions is not known, or the dose grid does not cover the target",
    applies_to: AppliesTo::Target,
    worse: Worse::lower,
    ..MODEL
};

/// Clonogen density (per cc) and α (per Gy) of the Poisson model: textbook values, from memory.
const CLONOGENS: f64 = 1e7;
const ALPHA: f64 = 0.3;

pub(super) static POISSON_TCP: Definition = Definition {
    name: "TCP_Poisson",
    title: "control probability by the Poisson model (research model)",
    formula: "exp(−ρ · ∫ exp(−α·BED(D)) dV)",
    reference: "textbook form; ρ and α are generic",
    compute: |s, _| {
        let value = || {
            let c = course(s)?;
            // BED is EQD2 times what BED is of 2 Gy.
            let to_bed = 1.0 + 2.0 / c.biology.alpha_beta_gy;
            let cells: f64 = converted(s, &c)?
                .map(|(d, v)| CLONOGENS * v / 1000.0 * (-ALPHA * to_bed * d).exp())
                .sum();
            Ok((-cells).exp())
        };
        Outcome::from_result(value())
    },
    rule: |s, _| format!("rho {CLONOGENS:e} /cc, alpha {ALPHA} /Gy, {}", parameters(s)),
    ..TCP
};

/// TCD50 (Gy in fractions of 2 Gy) and γ50 of the logistic model: generic, from memory.
const TCD50_GY: f64 = 50.0;
const TCP_GAMMA50: f64 = 2.0;

pub(super) static LOGISTIC_TCP: Definition = Definition {
    name: "TCP_Logistic",
    title: "control probability by Niemierko's logistic form (research model)",
    formula: "1 / (1 + (TCD50/gEUD_EQD2)^(4·γ50))",
    reference: "Niemierko 1999 (abstract); TCD50 and γ50 are generic",
    compute: |s, _| {
        let value = || Ok(logistic(equivalent(s)?, TCD50_GY, TCP_GAMMA50));
        Outcome::from_result(value())
    },
    rule: |s, _| format!("TCD50 {TCD50_GY} Gy, gamma50 {TCP_GAMMA50}, {}", parameters(s)),
    ..TCP
};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::organ_models::of_organ;
    use crate::radiobiology::generalised_eud;

    fn near(got: f64, want: f64) {
        assert!((got - want).abs() <= 1e-6, "{got} for {want}");
    }

    /// Even doses by LKB; parameters of Burman 1991, values own arithmetic. The last is published:
    /// ocular pain, TD50 27.54 Gy, m 0.38 (J Biomed Phys Eng, abstract read).
    #[test]
    fn complication_probabilities_of_even_doses() {
        for (organ, doses) in [
            ("Brainstem", [(50.0, 0.049_640), (54.0, 0.113_372), (60.0, 0.291_348)]),
            ("Brain", [(45.0, 0.047_790), (50.0, 0.133_260), (60.0, 0.5)]),
            ("Lens", [(10.0, 0.049_873), (18.0, 0.5), (18.0, 0.5)]),
            ("SpinalCord", [(45.0, 0.032_339), (50.0, 0.078_120), (66.5, 0.5)]),
        ] {
            for (dose, want) in doses {
                near(lkb(dose, of_organ(organ).unwrap()), want);
            }
        }
        near(normal((20.0 - 27.54) / (0.38 * 27.54)), 0.235_614);
        near(normal(6.0) + normal(-6.0), 1.0);
    }

    /// A third of the brainstem at 60 Gy: the same by gEUD and by TD50 of a part of the volume.
    #[test]
    fn a_part_of_an_organ() {
        let model = of_organ("Brainstem").unwrap();
        let eud = generalised_eud([(60.0, 1.0), (0.0, 2.0)].into_iter(), 1.0 / model.n).unwrap();
        near(eud, 50.328_252);
        near(lkb(eud, model), 0.053_451);
        let td50 = model.td50_gy * 3.0_f64.powf(model.n);
        assert!((td50 - 77.491_27).abs() < 1e-5);
        near(normal((60.0 - td50) / (model.m * td50)), 0.053_451);
    }

    #[test]
    fn logistic_forms() {
        for (eud, want) in [(50.0, 0.041_156), (54.0, 0.097_542), (65.0, 0.5)] {
            near(logistic(eud, 65.0, 3.0), want);
        }
        near(gamma50(0.14), 2.849_588);
        assert_eq!(logistic(0.0, 65.0, 3.0), 0.0);
    }

    /// An even dose gives P(D) whatever s; with s = 1 a part of volume v at D gives
    /// 1 − (1 − P)^v.
    #[test]
    fn relative_seriality_of_even_and_of_partial_doses() {
        for s in [0.01, 0.64, 1.0] {
            let model = Seriality { d50_gy: 60.0, gamma: 2.6, s };
            let even = relative_seriality([(55.0, 2.0)].into_iter(), model).unwrap();
            near(even, poisson(55.0, model));
        }
        let model = Seriality { d50_gy: 60.0, gamma: 2.6, s: 1.0 };
        near(poisson(60.0, model), 0.5);
        let got = relative_seriality([(60.0, 1.0), (0.0, 3.0)].into_iter(), model).unwrap();
        near(got, 1.0 - 0.5_f64.powf(0.25));
    }
}

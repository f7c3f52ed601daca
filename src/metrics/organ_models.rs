//! Parameters of complication models by organ, and α/β by structure: quoted from memory but where
//! said otherwise, and meant for research. The numbers are for fractions of 2 Gy, so the models
//! are fed with EQD2; for a single fraction they are indicative only.

/// Parameters of one organ.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrganModel {
    /// Standard name (TG-263) without side.
    pub organ: &'static str,
    /// Complication that is meant.
    pub endpoint: &'static str,
    /// Dose of half the organs harmed when all of it receives it evenly, Gy.
    pub td50_gy: f64,
    /// Volume exponent n of Lyman, Kutcher and Burman; gEUD takes a = 1/n.
    pub n: f64,
    /// Slope m of Lyman.
    pub m: f64,
    /// Parameters of relative seriality, where quoted.
    pub seriality: Option<Seriality>,
}

/// Parameters of relative seriality.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seriality {
    /// Dose of half the organs harmed when all of it receives it evenly, Gy.
    pub d50_gy: f64,
    /// Slope γ of the Poisson form at that dose.
    pub gamma: f64,
    /// How serial the organ is: 1 where the loss of any part is that of the whole.
    pub s: f64,
}

/// TD50 (Gy), n and m of Lyman, Kutcher and Burman.
const fn organ(
    organ: &'static str,
    endpoint: &'static str,
    [td50_gy, n, m]: [f64; 3],
) -> OrganModel {
    OrganModel { organ, endpoint, td50_gy, n, m, seriality: None }
}

impl OrganModel {
    const fn with_seriality(self, d50_gy: f64, gamma: f64, s: f64) -> Self {
        Self { seriality: Some(Seriality { d50_gy, gamma, s }), ..self }
    }
}

/// Fits of Burman et al. 1991 (Int J Radiat Oncol Biol Phys 21:123) and of Ågren 1995 as quoted by
/// Källman's school; from memory.
pub static ORGANS: &[OrganModel] = &[
    organ("Brain", "necrosis", [60.0, 0.25, 0.15]).with_seriality(60.0, 2.6, 0.64),
    organ("Brainstem", "necrosis", [65.0, 0.16, 0.14]).with_seriality(65.1, 2.4, 1.0),
    organ("OpticChiasm", "blindness", [65.0, 0.25, 0.14]).with_seriality(65.0, 2.3, 1.0),
    organ("OpticNrv", "blindness", [65.0, 0.25, 0.14]).with_seriality(65.0, 2.3, 1.0),
    organ("Retina", "blindness", [65.0, 0.20, 0.19]),
    organ("Lens", "cataract", [18.0, 0.30, 0.27]).with_seriality(18.0, 1.2, 0.30),
    organ("SpinalCord", "myelitis", [66.5, 0.05, 0.175]).with_seriality(57.0, 6.7, 1.0),
    organ("Ear_Middle", "chronic serous otitis", [65.0, 0.01, 0.095]),
    organ("Parotid", "xerostomia", [46.0, 0.70, 0.18]).with_seriality(46.0, 1.8, 0.01),
    organ("Joint_TM", "limited joint function", [72.0, 0.07, 0.10]),
];

/// α/β by structure, Gy, and whether the value was read: 10 for tumours and 2 for the nervous
/// system stand in a table of Radiat Oncol 2021 16:73, 2 for the cord in the HyTEC abstract.
const ALPHA_BETA: &[(&str, f64, &str)] = &[
    ("target", 10.0, "read"),
    ("Brain", 2.0, "read"),
    ("Brainstem", 2.0, "not yet checked against a source"),
    ("OpticChiasm", 2.0, "read"),
    ("OpticNrv", 2.0, "read"),
    ("OpticTract", 2.0, "not yet checked against a source"),
    ("SpinalCord", 2.0, "read"),
    ("Cochlea", 3.0, "not yet checked against a source"),
    ("Lens", 1.2, "not yet checked against a source"),
];

/// α/β of what has no row of its own, Gy; from memory.
const OTHER_GY: f64 = 3.0;

/// A standard name without its side and without a margin.
fn base(standard: &str) -> &str {
    let organ = standard.split("_PRV").next().unwrap_or(standard);
    organ.strip_suffix("_L").or_else(|| organ.strip_suffix("_R")).unwrap_or(organ)
}

/// The standard names, without side, of all organs that have parameters or an α/β of their own.
pub fn own_numbers() -> impl Iterator<Item = &'static str> {
    let listed = ALPHA_BETA.iter().map(|(name, ..)| *name).filter(|name| *name != "target");
    ORGANS.iter().map(|o| o.organ).chain(listed)
}

/// The parameters of the organ with this standard name.
#[must_use]
pub fn of_organ(standard: &str) -> Option<&'static OrganModel> {
    ORGANS.iter().find(|o| o.organ == base(standard))
}

/// α/β of a structure, Gy, and where it comes from. `chosen` are the user's own, by standard name
/// with or without side, or by the words `target` and `other`; they go before the defaults.
#[must_use]
pub fn alpha_beta(
    standard: Option<&str>,
    is_target: bool,
    chosen: &[(String, f64)],
) -> (f64, String) {
    let own = standard.unwrap_or_default();
    let class = if is_target { "target" } else { "other" };
    let names = [own, base(own), class];
    let by_user = names.iter().find_map(|n| chosen.iter().find(|(name, _)| name == n));
    if let Some((name, gy)) = by_user {
        return (*gy, format!("set for {name}"));
    }
    let listed = if is_target { "target" } else { base(own) };
    match ALPHA_BETA.iter().find(|(name, ..)| *name == listed) {
        Some((name, gy, evidence)) => (*gy, format!("default of {name}, {evidence}")),
        None => (OTHER_GY, "default, not yet checked against a source".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_lose_side_and_margin() {
        assert_eq!(of_organ("OpticNrv_L").unwrap().organ, "OpticNrv");
        assert_eq!(of_organ("Brainstem_PRV03").unwrap().organ, "Brainstem");
        assert!(of_organ("Cochlea_L").is_none() && of_organ("Lens").is_some());
    }

    #[test]
    fn the_users_value_goes_first() {
        let ours = [("Lens_L".to_owned(), 1.5), ("other".to_owned(), 2.5)];
        assert_eq!(alpha_beta(Some("Lens_L"), false, &ours).0, 1.5);
        assert_eq!(alpha_beta(Some("Lens_R"), false, &ours).0, 2.5);
        assert_eq!(alpha_beta(Some("Lens_R"), false, &[]).0, 1.2);
        let (gy, basis) = alpha_beta(Some("GTV"), true, &ours);
        assert_eq!((gy, basis.as_str()), (10.0, "default of target, read"));
        assert_eq!(alpha_beta(None, false, &[]).0, 3.0);
    }
}

//! Words that may stand beside a target's letters without making it something else: where it lies,
//! which image shows it, how it is treated. With any other word beside `GTV`, `CTV` or `PTV` it is
//! not certain that the structure is a target: "brain without GTV" in a language of which nothing
//! is known looks like it.

use super::clinic::is_region;
use super::normalise::NamePiece;
use super::organ::is_part;
use super::words::{self, Does, does, holds, kind, may_be_side};

/// Images, plans, doses and the like, in several languages. From memory of how targets are named.
const SURE: &str = "boost srs srt sbrt fsrt hsrt hfsrt rt gk lgk tx rx plan planning volume vol \
    eval dose gy cgy fx fxs fr fraction fractions mr mri irm rm ct tdm tac tc t1 t2 t1c t1w tw \
    flair pet fet met dopa gd gado gadolinium km kontrast contrast ce enh enhancing enhancement \
    edema oedema odem oedem postop preop post pre op resid residual rest recid recidive \
    recurrence recurrent rec rez rezidiv recidiva recidief recidiv progression follow followup fu \
    up later again suivi nachsorge verlauf node nodal solid cystic cyst zyste necrosis necrotic \
    core rim new neu neuf nouveau nuevo nuovo novo nowy novy uj yeni nieuw ny uusi adapt adapted \
    replan rev revised approved appr final ok def mod edit edited margin nat prim primary sec \
    main center central centre peripheral medial lateral ant anterior sup superior inf inferior \
    upper lower mid dorsal ventral basal vertex midline deep superficial large small big grand \
    gross klein petit new high low boost1 sib hd ld in im am der die das the of no nr num number \
    opt operatoire operative chirurgical surgical quirurgica chirurgica cirurgica hole bed tm \
    mts meta metas metastatic primaire mtx bm brainmet brainmets v cm day week fase phase course \
    serie series a b c d e f g h i j k";

/// Places in the head that no other list names, in several languages.
const PLACES: &str = "convexity falx falcine parafalcine tentorium tentorial clivus clival petrous \
    petroclival cpa kbw iac aic cavernosus cavernous parasagittal sagittal sag gyrus precentral \
    postcentral central motor rolandic insula insular cuneus precuneus callosum corpus cingulum \
    cingulate capsula capsule internal external ganglia basal nucleus putamen caudatus caudate \
    vermis wurm vermian peduncle tonsil tectum tegmentum pineal region ventricle ventrikel \
    periventricular subependymal choroid plexus dural dura leptomeningeal meningeal \
    bone skull base orbit orbital retro bulbar apex jugular foramen glomus acoustic vestibular \
    meatus sphenoid ethmoid maxillary operculum opercular sylvian hilus uncus mesial hemisphere \
    hemispheric trunci encephali cerebri cerebelli pontis lobe lobus lappen lob lobulo lobo kwab \
    lapp marklager kortex cortex cortical \
    kortikal subcortical white matter scalp calvarium calvarial cerebrum cerebral brain cranial \
    intracranial spine spinal vertebra node neck cavity";

/// Beginnings of words for places in other languages, as they are compared.
const PLACE_STEMS: &str = "доля доли долю лобн теменн височн затыл мозжеч стволов базальн лобов \
    тімян скронев потилич мозочк czol ciemien skron potyl mozdz wyspa celn temenn spank tyln \
    mozeck zahlav ceon tjemen sljepoo zatilj celn senc homlok fali halant nyak kisagy μετωπ \
    βρεγμ κροταφ ινιακ παρεγκ beyincik oksip paryet temporal otsa ohimo paala takar pikkuaiv \
    pande tinding isse nakke lillehj panne bakhode cerebel frontal occipit oksipit parietal \
    insul";

/// Words of a bed or cavity that mean something else without a target's letters beside them.
const BEDS: &str = "lit bett tumorbett hohlraum bed tumorbed tumorbadd badd halrum \
    hulrum hulrom hulhed \
    hule leje tumorleje seng tumorseng ontelo leikkausontelo oos lecho letto leito loca tumoral \
    tumorale pat patul cavitatea rezectie rezectiei jama loze luzko lozko resekci leziste supljina \
    votlina lezisce guolis ertme gultne dobums yatak yatagi boslugu boslugunda tumoragy \
    ложа ложе полость порожнина кухина лежиште шупљина κοιτη κοιλοτητα ογκου";

/// Roman numbers of lesions.
const ROMAN: &str = "ii iii iv vi vii viii ix xi xii";

/// Whether every word says nothing but which target it is.
pub(super) fn all_explained(pieces: &[NamePiece]) -> bool {
    pieces.iter().all(|piece| match piece {
        NamePiece::Word(word) => is_explained(word),
        NamePiece::Number(_) | NamePiece::Sign(_) => true,
    })
}

fn is_explained(word: &str) -> bool {
    let letter = word.chars().count() == 1;
    let doing = [Does::Fill, Does::Sum, Does::Target, Does::Hollow, Does::Help];
    letter
        || kind(word).is_some()
        || may_be_side(word)
        || holds(SURE, word)
        || holds(PLACES, word)
        || holds(ROMAN, word)
        || holds(BEDS, word)
        || holds("sb par vas mm", word)
        || doing.into_iter().any(|d| does(d, word))
        || holds(words::PLANNING, word)
        || holds(words::PLURAL_TARGETS, word)
        || words::TARGET_ENDS.split_ascii_whitespace().any(|end| word.ends_with(end))
        || is_region(word)
        || PLACE_STEMS.split_ascii_whitespace().any(|stem| word.starts_with(stem))
        || is_part(word)
}

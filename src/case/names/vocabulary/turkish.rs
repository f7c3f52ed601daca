//! Words of Turkish.
//! From memory, not checked by a clinician who speaks it.

use super::{Language, Vocabulary};

/// Turkish.
pub(super) const TURKISH: Vocabulary = Vocabulary {
    language: Language::Turkish,
    left: "sol",
    right: "sağ",
    both: "bilateral bilat iki",
    left_here: "sin",
    right_here: "",
    without: "hariç hariçtutulmuş dışında olmadan çıkarılmış eksi siz sız çıkarılarak",
    lesions: "metastaz metastazlar tümör lezyon kitle lezyonlar hedef met metastazı \
        lezyonu tümörü",
    cavities: "kavite yatağı rezeksiyon kavitesi tümörbed",
    aids: "halka yardımcı yüzük bolus",
    sums: "toplam hepsi tümü",
    fillers: "taraf",
    in_company: &[],
    organs: &[
        ("Midbrain", "orta beyin, mezensefalon, mesensefalon"),
        ("MedullaOblongata", "medulla oblongata, omurilik soğanı, bulbus rahidyen"),
        ("CorpusCallosum", "korpus kallozum, korpus kallosum, nasırlı cisim, corpus callosum"),
        (
            "BrainVentricle",
            "ventrikül, ventriküller, lateral ventrikül, lateral ventriküller, üçüncü \
            ventrikül, dördüncü ventrikül, beyin ventrikülü, beyin ventrikülleri, ventriküler \
            sistem, beyin karıncığı",
        ),
        ("Brain", "beyin, tüm beyin, bütün beyin, tüm beyn, bütün beyn, ensefalon, beyn"),
        ("Brainstem", "beyin sapı, bsapı, beyin sap, b sapı"),
        ("Cerebrum", "büyük beyin, serebrum"),
        ("Cerebellum", "beyincik, serebellum"),
        ("Hippocampi", "hipokampüsler, hipokampuslar"),
        ("Hypothalmus", "hipotalamus"),
        ("Pituitary", "hipofiz, hipofiz bezi, pituiter, pitüiter bez"),
        ("Pineal", "pineal bez, epifiz"),
        ("Pons", "pons, köprü"),
        ("Fossa_Posterior", "arka çukur, posterior fossa"),
        ("Skull", "kafatası, kranyum, kafa kemiği"),
        ("Scalp", "saçlı deri"),
        (
            "OpticChiasm",
            "optik kiazma, kiazma, kiazma optik, kiyazma, optik kiyazma, kiasma, optik \
            kiasma, optik çaprazı, optik chiasma, optik kiasm, chiasma",
        ),
        ("Eyes", "gözler, globlar"),
        (
            "SpinalCord",
            "medulla spinalis, omurilik, spinal kord, m spinalis, spinal kort, med \
            spinalis",
        ),
        ("SpinalCanal", "spinal kanal, omurga kanalı"),
        ("Esophagus", "özofagus, yemek borusu"),
        ("Trachea", "trakea"),
        ("Larynx", "larenks, larinks, gırtlak"),
        ("Parotids", "parotisler"),
        ("Glnd_Thyroid", "tiroid, tiroid bezi"),
        ("Cavity_Oral", "oral kavite, ağız boşluğu, ağız"),
        ("Cavity_Nasal", "burun boşluğu, nazal kavite"),
        ("Lips", "dudaklar"),
        ("Tongue", "dil"),
        ("Bone_Mandible", "mandibula, alt çene"),
        ("Maxilla", "üst çene, maksilla"),
        ("Lungs", "akciğerler"),
        ("External", "dış kontur, vücut konturu, vücut, dış hat, vücut dış kontur, eksternal"),
        ("Hemisphere", "hemisfer, serebral hemisfer, beyin yarımküresi"),
        ("Lobe_Frontal", "frontal lob"),
        ("Lobe_Occipital", "oksipital lob"),
        ("Lobe_Parietal", "parietal lob, paryetal lob"),
        ("Lobe_Temporal", "temporal lob, şakak lobu, temporal lop"),
        ("Hippocampus", "hipokampüs, hipokamp, hippokampus, hippocampus"),
        ("Thalamus", "talamus"),
        (
            "OpticNrv",
            "optik sinir, optik sin, opt sinir, görme siniri, optik s, n optikus, \
            optikus, nervus optikus, optik nerv",
        ),
        ("OpticTract", "optik trakt, optik trakt yolu, optik traktus"),
        ("Eye", "göz, göz küresi, glob, göz yuvarı"),
        ("Lens", "lens, göz merceği, mercek, göz lensi"),
        ("Lenses", "lensler, mercekler, göz mercekleri"),
        ("Retina", "retina"),
        ("Cornea", "kornea"),
        ("Orbit", "göz çukuru"),
        ("Glnd_Lacrimal", "lakrimal bez, gözyaşı bezi, lakrimal gland"),
        ("Cochlea", "koklea, iç kulak koklea, salyangoz, kohlea, cochlea"),
        ("Ear_Internal", "iç kulak"),
        ("Ear_Middle", "orta kulak"),
        ("Ear_External", "dış kulak"),
        ("CN_V", "trigeminal sinir, trigeminal"),
        ("CN_VII", "fasiyal sinir, fasial sinir, yüz siniri"),
        ("CN_VIII", "vestibulokoklear sinir, akustik sinir, işitme siniri"),
        (
            "A_Carotid",
            "karotis, karotis interna, internal karotis, karotid arter, internal \
            karotid arter",
        ),
        ("Parotid", "parotis, parotis bezi, parotid bezi"),
        ("Glnd_Submand", "submandibular bez, submandibuler bez, çene altı bezi"),
        ("Joint_TM", "temporomandibular eklem, tme, çene eklemi"),
        ("Lung", "akciğer"),
    ],
};

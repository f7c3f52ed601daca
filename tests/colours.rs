//! Colours by computation: what is told apart by them on the committee's page, on the page that
//! decides, in pictures and in figures for print stays apart for full sight, for people who lack one
//! kind of cone, and in grey, or it differs by dashes, filling or width as well.

use std::collections::BTreeMap;

use crate::review::{REQUEST, tables};
use tidydose_figure::{Axis, Figure, Layer, Look, Map};

/// What people see who lack one kind of cone, in linear light: Machado et al. 2009, severity 1 (IEEE
/// Trans Vis Comput Graph 15:1291; from memory), after full sight.
const SIGHTS: [[[f64; 3]; 3]; 4] = [
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
    [
        [0.152_286, 1.052_583, -0.204_868],
        [0.114_503, 0.786_281, 0.099_216],
        [-0.003_882, -0.048_116, 1.051_998],
    ],
    [
        [0.367_322, 0.860_646, -0.227_968],
        [0.280_085, 0.672_501, 0.047_413],
        [-0.011_820, 0.042_940, 0.968_881],
    ],
    [
        [1.255_528, -0.076_749, -0.178_779],
        [-0.078_411, 0.930_809, 0.147_602],
        [0.004_733, 0.691_367, 0.303_900],
    ],
];
/// Share of red, green and blue in luminance (IEC 61966-2-1).
const LUMINANCE: [f64; 3] = [0.212_672_9, 0.715_152_2, 0.072_175_0];
/// Side by side on paper a difference of 10 is seen at a glance (common practice; 2.3 is just
/// noticed), and so is one of lightness alone.
const AT_A_GLANCE: f64 = 10.0;
/// Lines of one colour are told apart by width where one is half again as wide.
const WIDER: f64 = 1.5;

fn times(matrix: &[[f64; 3]; 3], v: [f64; 3]) -> [f64; 3] {
    [0, 1, 2].map(|i| (0..3).map(|j| matrix[i][j] * v[j]).sum())
}

/// Linear light of a colour of sRGB (IEC 61966-2-1), written with three or six digits.
fn light(colour: &str) -> [f64; 3] {
    let digits = colour.strip_prefix('#').unwrap_or_else(|| panic!("{colour} is no colour"));
    let each = digits.len() / 3;
    [0, 1, 2].map(|i| {
        let part = digits[i * each..(i + 1) * each].repeat(3 - each);
        let share = f64::from(u8::from_str_radix(&part, 16).unwrap()) / 255.0;
        if share <= 0.040_45 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    })
}

/// The colour as somebody of that sight has it.
fn seen(sight: &[[f64; 3]; 3], colour: &str) -> [f64; 3] {
    times(sight, light(colour)).map(|l| l.clamp(0.0, 1.0))
}

/// The colour on a copy without colours.
fn grey(colour: &str) -> [f64; 3] {
    let all = light(colour);
    [(0..3).map(|i| LUMINANCE[i] * all[i]).sum(); 3]
}

/// A colour of that opacity upon another one, as screens mix them: by stored values.
fn mixed(colour: &str, opacity: f64, below: &str) -> String {
    let value = |colour: &str, i: usize| {
        let digits = colour.trim_start_matches('#');
        let each = digits.len() / 3;
        let part = digits[i * each..(i + 1) * each].repeat(3 - each);
        f64::from(u8::from_str_radix(&part, 16).unwrap())
    };
    let part = |i| (opacity * value(colour, i) + (1.0 - opacity) * value(below, i)).round() as u8;
    format!("#{:02x}{:02x}{:02x}", part(0), part(1), part(2))
}

/// Lightness and the two colour axes of CIELAB 1976, white of D65.
fn lab(light: [f64; 3]) -> [f64; 3] {
    const XYZ: [[f64; 3]; 3] = [
        [0.412_456_4, 0.357_576_1, 0.180_437_5],
        LUMINANCE,
        [0.019_333_9, 0.119_192_0, 0.950_304_1],
    ];
    let white = [0.950_47, 1.0, 1.088_83];
    let xyz = times(&XYZ, light);
    let f: Vec<f64> = (0..3)
        .map(|i| match xyz[i] / white[i] {
            t if t > 216.0 / 24_389.0 => t.cbrt(),
            t => (24_389.0 / 27.0 * t + 16.0) / 116.0,
        })
        .collect();
    [116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])]
}

fn difference(a: [f64; 3], b: [f64; 3]) -> f64 {
    let (a, b) = (lab(a), lab(b));
    (0..3).map(|i| (a[i] - b[i]).powi(2)).sum::<f64>().sqrt()
}

/// The least difference of two colours over all sights.
fn apart(a: &str, b: &str) -> f64 {
    SIGHTS.iter().map(|s| difference(seen(s, a), seen(s, b))).fold(f64::INFINITY, f64::min)
}

/// Contrast of WCAG 2.2, the least over all sights.
fn contrast(a: &str, b: &str) -> f64 {
    let luminance = |light: [f64; 3]| (0..3).map(|i| LUMINANCE[i] * light[i]).sum::<f64>() + 0.05;
    let of = |sight| {
        let (a, b) = (luminance(seen(sight, a)), luminance(seen(sight, b)));
        if a > b { a / b } else { b / a }
    };
    SIGHTS.iter().map(of).fold(f64::INFINITY, f64::min)
}

/// The rules of a style sheet outside of `@media` or inside of the wanted one: selector to property
/// to value, with variables put in.
struct Style(BTreeMap<String, BTreeMap<String, String>>);

impl Style {
    fn of(css: &str, media: Option<&str>) -> Self {
        let mut rules: BTreeMap<String, BTreeMap<String, String>> = BTreeMap::new();
        let (mut rest, mut inside) = (css, None::<String>);
        while let Some(place) = rest.find(['{', '}']) {
            let head = rest[..place].rsplit("*/").next().unwrap().trim();
            let opens = rest[place..].starts_with('{');
            rest = &rest[place + 1..];
            if !opens {
                inside = None;
            } else if head.starts_with("@media") {
                inside = Some(head.to_owned());
            } else if head.starts_with('@') {
                rest = rest.split_once("} }").unwrap().1;
            } else {
                let (body, after) = rest.split_once('}').unwrap();
                rest = after;
                let wanted = match (&inside, media) {
                    (None, _) => true,
                    (Some(inside), Some(media)) => inside.contains(media),
                    (Some(_), None) => false,
                };
                if !wanted {
                    continue;
                }
                for selector in head.split(',') {
                    let rule = rules.entry(selector.trim().to_owned()).or_default();
                    for (property, value) in body.split(';').filter_map(|d| d.split_once(':')) {
                        rule.insert(property.trim().to_owned(), value.trim().to_owned());
                    }
                }
            }
        }
        Self(rules)
    }

    /// The value of the last selector that states the property.
    fn value(&self, selectors: &[&str], property: &str) -> Option<String> {
        let stated = |s: &&str| self.0.get(*s)?.get(property).cloned();
        let value = selectors.iter().rev().find_map(stated)?;
        match value.strip_prefix("var(").and_then(|v| v.strip_suffix(')')) {
            Some(name) => self.value(&[":root"], name),
            None => Some(value),
        }
    }

    fn colour(&self, selectors: &[&str], property: &str) -> String {
        self.value(selectors, property).unwrap_or_else(|| panic!("{property} of {selectors:?}"))
    }
}

fn page_style(media: Option<&str>) -> Style {
    let html = tidydose_report::review(&tables(), &REQUEST).unwrap().html;
    let css = html.split("<style>").nth(1).unwrap().split("</style>").next().unwrap();
    Style::of(css, media)
}

#[test]
fn the_scale_itself_is_right() {
    let ends = difference(light("#ffffff"), light("#000"));
    assert!((ends - 100.0).abs() < 0.01, "white against black is 100 of lightness: {ends}");
    assert!((contrast("#fff", "#000") - 21.0).abs() < 0.01, "WCAG: 21 to 1");
    assert_eq!(mixed("#000", 0.5, "#ffffff"), "#808080");
    // Red and green of the same lightness: told apart by full sight only.
    let (red, green) = ("#c0392b", "#6b7f1d");
    assert!(difference(light(red), light(green)) > 50.0);
    assert!(apart(red, green) < 25.0, "{}", apart(red, green));
    let style = Style::of(
        "/* x */ :root { --ink: #111; } a, .b { color: var(--ink); } \
                          @media print { a { color: #222; } }",
        None,
    );
    assert_eq!(style.colour(&["a"], "color"), "#111");
    assert_eq!(style.colour(&[".b"], "color"), "#111");
}

/// Groups on the page: marks that have the same filling differ in colour or in shape (their shapes
/// are in `src/report/chart.rs`, where a test holds them apart).
#[test]
fn groups_on_the_page_differ_by_filling_or_lightness() {
    let style = page_style(None);
    let paper = style.colour(&[":root"], "--paper");
    for rank in 0..6 {
        let own = format!(".rank{rank}");
        let stroke = style.colour(&[&own], "stroke");
        assert!(contrast(&stroke, &paper) >= 3.0, "{own}: {stroke}");
    }
    // First and last group have the same circle: one is filled.
    assert_ne!(style.colour(&[".rank0"], "fill"), "none");
    assert_eq!(style.colour(&[".rank5"], "fill"), "none");
    for (a, b) in [(0, 1), (0, 2), (1, 2), (3, 4), (3, 5), (4, 5)] {
        let [a, b] = [a, b].map(|r| style.colour(&[&format!(".rank{r}")], "stroke"));
        assert!(apart(&a, &b) > AT_A_GLANCE, "{a} and {b}: {:.1}", apart(&a, &b));
    }
}

/// Areas that carry a meaning by their tone alone, on the screen and on paper, and lines upon them.
#[test]
fn bands_differ_from_each_other_from_the_paper_and_from_lines_upon_them() {
    for media in [None, Some("print")] {
        let style = page_style(media);
        let paper = style.colour(&[":root"], "--paper");
        let [wide, half] = [".wide", ".half"].map(|s| style.colour(&[s], "fill"));
        for (a, b) in [(&paper, &wide), (&wide, &half)] {
            let lightness = difference(grey(a), grey(b));
            assert!(lightness > AT_A_GLANCE, "{media:?}: {a} and {b}: {lightness:.1} in grey");
            assert!(apart(a, b) > AT_A_GLANCE, "{media:?}: {a} and {b}");
        }
        for band in [".wide", ".half"] {
            let edge = style.colour(&[band], "stroke");
            assert!(contrast(&edge, &paper) >= 3.0, "{media:?}: the outline {edge} of {band}");
        }
        let median = style.colour(&[".median"], "stroke");
        assert!(contrast(&median, &half) >= 4.5, "{media:?}: {median} on {half}");
    }
}

#[test]
fn words_are_read_on_what_lies_below_them() {
    for media in [None, Some("print")] {
        let style = page_style(media);
        let [ink, soft, paper, wash, blue] =
            ["--ink", "--soft", "--paper", "--wash", "--blue"].map(|n| style.colour(&[":root"], n));
        for (words, below) in
            [(&ink, &paper), (&ink, &wash), (&soft, &paper), (&soft, &wash), (&blue, &paper)]
        {
            assert!(contrast(words, below) >= 4.5, "{media:?}: {words} on {below}");
        }
        let above = style.colour(&[".v0"], "color");
        let below = style.colour(&[".v0"], "background");
        assert!(contrast(&above, &below) >= 4.5, "{media:?}: {above} on {below}");
        let ground = style.colour(&[".ground"], "fill");
        let limit = style.colour(&[".dose.limit"], "fill");
        assert!(contrast(&limit, &ground) >= 4.5, "{media:?}: {limit} on {ground}");
    }
}

/// How a line of a picture is drawn.
#[derive(Debug)]
struct Drawn {
    colour: String,
    dash: Option<String>,
    width: f64,
}

impl Drawn {
    fn of(style: &Style, selectors: &[&str]) -> Self {
        Self {
            colour: style.colour(selectors, "stroke"),
            dash: style.value(selectors, "stroke-dasharray"),
            width: style.colour(selectors, "stroke-width").parse().unwrap(),
        }
    }

    /// Whether it differs by more than colour.
    fn differs_in_form(&self, other: &Self) -> bool {
        let wide = self.width.max(other.width) / self.width.min(other.width);
        self.dash != other.dash || wide >= WIDER
    }
}

/// Contours, isodoses and the isodose of a limit: no two look alike in grey, and colours that differ
/// for full sight do so for the others or the lines differ in form.
#[test]
fn lines_of_a_picture_are_told_apart_in_grey_and_in_every_sight() {
    for media in [None, Some("print")] {
        let style = page_style(media);
        let lines = [
            Drawn::of(&style, &[".target"]),
            Drawn::of(&style, &[".organ"]),
            Drawn::of(&style, &[".organ", ".organ.own"]),
            Drawn::of(&style, &[".isodose", ".i0"]),
            Drawn::of(&style, &[".isodose", ".i1"]),
            Drawn::of(&style, &[".isodose", ".i2"]),
            Drawn::of(&style, &[".isodose", ".i3"]),
            Drawn::of(&style, &[".isodose", ".i4"]),
            Drawn::of(&style, &[".isodose", ".i0", ".isodose.limit"]),
        ];
        let ground = style.colour(&[".ground"], "fill");
        for (n, a) in lines.iter().enumerate() {
            let visible = contrast(&a.colour, &ground);
            assert!(visible >= 3.0, "{media:?}: {a:?} on {ground}: {visible:.2}");
            for b in &lines[n + 1..] {
                let lightness = difference(grey(&a.colour), grey(&b.colour));
                let told = lightness > AT_A_GLANCE || a.differs_in_form(b);
                assert!(told, "{media:?}, in grey: {a:?} and {b:?}: {lightness:.1}");
                let told = apart(&a.colour, &b.colour) > AT_A_GLANCE || a.differs_in_form(b);
                assert!(told, "{media:?}: {a:?} and {b:?}");
            }
        }
        // A target is filled: its tone differs from the ground, also where it is mixed with it.
        let fill = style.colour(&[".target"], "fill");
        let opacity = style.value(&[".target"], "fill-opacity").map_or(1.0, |o| o.parse().unwrap());
        let tone = mixed(&fill, opacity, &ground);
        assert!(apart(&tone, &ground) > AT_A_GLANCE, "{media:?}: {tone} on {ground}");
    }
}

/// The figure with a line and marks for each of so many groups, and both kinds of bands.
fn figure(groups: usize) -> String {
    let mut layers = vec![
        Layer::Band { points: vec![(0.0, 0.0, 0.9), (10.0, 0.1, 1.0)], steps: false, inner: false },
        Layer::Band { points: vec![(0.0, 0.2, 0.7), (10.0, 0.3, 0.8)], steps: false, inner: true },
    ];
    layers.extend(
        (0..groups).map(|g| Layer::Line { points: vec![(0.0, 0.1), (9.0, 0.5)], look: Look(g) }),
    );
    let words = "x".to_owned();
    Figure {
        title: words.clone(),
        description: words.clone(),
        x: Axis::new("x", 0.0, 10.0),
        y: Axis::shares("y", 1.0),
        layers,
        legend: Vec::new(),
        below: Vec::new(),
        foot: words,
    }
    .svg()
}

/// The values of an attribute in the elements that hold `mark`.
fn attributes(svg: &str, mark: &str, name: &str) -> Vec<String> {
    let elements = svg.split('<').filter(|e| e.contains(mark));
    let value = |e: &str| {
        let after = e.split(&format!(" {name}=\"")).nth(1)?;
        Some(after.split('"').next()?.to_owned())
    };
    elements.filter_map(value).collect()
}

#[test]
fn groups_of_a_figure_for_print_differ_in_colour_for_every_sight() {
    let svg = figure(5);
    let colours = attributes(&svg, "stroke-width=\"4\"", "stroke");
    let dashes = attributes(&svg, "stroke-width=\"4\"", "stroke-dasharray");
    assert_eq!((colours.len(), dashes.len()), (5, 5), "{svg}");
    for (n, a) in colours.iter().enumerate() {
        // Black is dashed too, so that it is no axis.
        assert!(contrast(a, "#fff") >= 2.5, "{a}");
        for (m, b) in colours.iter().enumerate().skip(n + 1) {
            assert!(apart(a, b) > AT_A_GLANCE, "{a} and {b}: {:.1}", apart(a, b));
            assert_ne!(dashes[n], dashes[m], "in grey: {a} and {b}");
        }
    }
}

#[test]
fn bands_of_a_figure_for_print_have_an_outline() {
    let svg = figure(1);
    let fills = attributes(&svg, "Z\" fill=\"#", "fill");
    let edges = attributes(&svg, "Z\" fill=\"#", "stroke");
    assert_eq!((fills.len(), edges.len()), (2, 2), "{svg}");
    assert!(edges.iter().all(|e| contrast(e, "#fff") >= 3.0), "{edges:?}");
    let lightness = difference(grey(&fills[0]), grey(&fills[1]));
    assert!(lightness > AT_A_GLANCE, "{fills:?}: {lightness:.1}");
}

/// The map of states has greys only: each is told from the next by lightness, and the one near to
/// blank paper by its hatching too.
#[test]
fn states_of_a_map_differ_in_lightness() {
    let words = |w: &str| w.to_owned();
    let states = ["covered", "partly covered", "not covered", "absent"].map(words);
    let map = Map {
        title: words("x"),
        description: words("x"),
        states: states.to_vec(),
        groups: vec![(words("all"), 4)],
        rows: vec![(words("Organ"), vec![0, 1, 2, 3], words(""))],
        foot: words("x"),
    };
    let svg = map.svg();
    let tones = attributes(&svg, "height=\"26\"", "fill");
    let tones: Vec<&String> = tones.iter().filter(|t| *t != "none").collect();
    assert_eq!(tones.len(), 4, "{svg}");
    for pair in tones.windows(2) {
        let lightness = difference(grey(pair[0]), grey(pair[1]));
        assert!(lightness > AT_A_GLANCE, "{pair:?}: {lightness:.1}");
    }
}

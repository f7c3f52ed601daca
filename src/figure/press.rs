//! The same figures as journals take them: PDF with lines and letters as outlines, so that no font is
//! missing anywhere, and TIFF at so many dots to the inch. Letters come with the program: the same
//! figure has the same bytes on every computer. A character that they lack is an empty box; the SVG has
//! it.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::Write as _;

use flate2::Compression;
use flate2::write::ZlibEncoder;
use resvg::tiny_skia::{Path, PathSegment, Pixmap, Transform};
use resvg::usvg::{FillRule, Group, LineCap, LineJoin, Node, Options, Paint, PaintOrder, Tree};

/// Points of print in an inch.
const POINTS: f32 = 72.0;
/// No picture has more points than this: 400 MB while it is drawn.
const MOST_POINTS: f32 = 1e8;
/// Rows of a strip in a TIFF.
const STRIP: usize = 64;

/// Dots to the inch of pictures: what journals ask for where a figure has letters and lines.
pub const PICTURE_DPI: u16 = 600;

/// Each drawing among files by name as PDF, and as TIFF where that is wanted; what could not be made,
/// in words.
#[must_use]
pub fn pressed(
    files: &BTreeMap<String, Vec<u8>>,
    as_tiff: bool,
) -> (BTreeMap<String, Vec<u8>>, Vec<String>) {
    let (mut made, mut faults) = (BTreeMap::new(), Vec::new());
    for (name, bytes) in files {
        let Some(stem) = name.strip_suffix(".svg") else { continue };
        let svg = String::from_utf8_lossy(bytes);
        let mut kinds = vec![("pdf", pdf(&svg))];
        if as_tiff {
            kinds.push(("tiff", tiff(&svg, PICTURE_DPI)));
        }
        for (kind, outcome) in kinds {
            match outcome {
                Ok(bytes) => drop(made.insert(format!("{stem}.{kind}"), bytes)),
                Err(why) => faults.push(format!("{name} could not be written as {kind}: {why}")),
            }
        }
    }
    (made, faults)
}

/// A drawing of this program as PDF, one page of its own size.
///
/// # Errors
/// In words, when the text is no SVG, or holds what this program does not draw.
pub fn pdf(svg: &str) -> Result<Vec<u8>, String> {
    let tree = tree(svg)?;
    let mut page = Page::default();
    page.group(tree.root())?;
    let (width, height) = (tree.size().width(), tree.size().height());
    let content = format!("1 0 0 -1 0 {height} cm\n{}", page.content);
    let states: Vec<String> = page
        .opacities
        .iter()
        .enumerate()
        .map(|(i, o)| format!("/G{i} <</ca {o} /CA {o}>>"))
        .collect();
    Ok(document(
        &format!(
            "<</Type /Page /Parent 2 0 R /MediaBox [0 0 {width} {height}] /Contents 4 0 R \
             /Resources <</ExtGState <<{}>>>>>>",
            states.join(" ")
        ),
        &packed(content.as_bytes())?,
    ))
}

/// A drawing of this program as TIFF: colours of eight bits, white paper, packed without loss.
///
/// # Errors
/// In words, when the text is no SVG or the picture would be larger than any page.
pub fn tiff(svg: &str, dots_per_inch: u16) -> Result<Vec<u8>, String> {
    let tree = tree(svg)?;
    let scale = f32::from(dots_per_inch) / POINTS;
    let size = tree.size();
    let (width, height) = ((size.width() * scale).ceil(), (size.height() * scale).ceil());
    if width * height > MOST_POINTS {
        return Err(format!("{width} by {height} points are too many for a picture"));
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below 1e8")]
    let (columns, rows) = (width as u32, height as u32);
    let mut pixmap = Pixmap::new(columns, rows).ok_or("it has no size")?;
    pixmap.fill(resvg::tiny_skia::Color::WHITE);
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut pixmap.as_mut());
    let pixels: Vec<u8> = pixmap.data().chunks_exact(4).flat_map(|p| [p[0], p[1], p[2]]).collect();
    let row = 3 * usize::try_from(columns).map_err(|e| e.to_string())?;
    let strips: Vec<Vec<u8>> =
        pixels.chunks(row * STRIP).map(packed).collect::<Result<_, String>>()?;
    Ok(tagged(columns, rows, dots_per_inch, &strips))
}

/// The drawing, its lengths in points of print.
fn tree(svg: &str) -> Result<Tree, String> {
    let mut options = Options { dpi: POINTS, ..Options::default() };
    let fonts = options.fontdb_mut();
    fonts.load_font_data(epaint_default_fonts::UBUNTU_LIGHT.to_vec());
    let family = fonts.faces().next().and_then(|f| f.families.first());
    if let Some((name, _)) = family.cloned() {
        fonts.set_sans_serif_family(name);
    }
    Tree::from_str(svg, &options).map_err(|e| e.to_string())
}

fn packed(bytes: &[u8]) -> Result<Vec<u8>, String> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(bytes).and_then(|()| encoder.finish()).map_err(|e| e.to_string())
}

/// What is painted on the page so far.
#[derive(Default)]
struct Page {
    content: String,
    /// Each opacity that is used, in the order of its first use.
    opacities: Vec<String>,
}

impl Page {
    fn group(&mut self, group: &Group) -> Result<(), String> {
        for node in group.children() {
            match node {
                Node::Group(inner) => self.group(inner)?,
                Node::Text(text) => self.group(text.flattened())?,
                Node::Path(path) => self.path(path)?,
                Node::Image(_) => return Err("a picture inside a figure".to_owned()),
            }
        }
        Ok(())
    }

    fn path(&mut self, path: &resvg::usvg::Path) -> Result<(), String> {
        let transform = path.abs_transform();
        let Some(outline) = path.data().clone().transform(transform) else {
            return Ok(());
        };
        let outline = outline_of(&outline);
        let fill_first = path.paint_order() == PaintOrder::FillAndStroke;
        for fills in [fill_first, !fill_first] {
            if fills {
                self.fill(path, &outline)?;
            } else {
                self.stroke(path, &outline, transform.get_scale().0)?;
            }
        }
        Ok(())
    }

    fn fill(&mut self, path: &resvg::usvg::Path, outline: &str) -> Result<(), String> {
        let Some(fill) = path.fill() else { return Ok(()) };
        self.opacity(fill.opacity().get());
        let operator = if fill.rule() == FillRule::EvenOdd { "f*" } else { "f" };
        let colour = colour(fill.paint())?;
        let _ = writeln!(self.content, "{colour} rg\n{outline}{operator}");
        Ok(())
    }

    fn stroke(
        &mut self,
        path: &resvg::usvg::Path,
        outline: &str,
        scale: f32,
    ) -> Result<(), String> {
        let Some(stroke) = path.stroke() else { return Ok(()) };
        self.opacity(stroke.opacity().get());
        let dashes = stroke.dasharray().unwrap_or_default().iter();
        let dashes: Vec<String> = dashes.map(|d| short(d * scale)).collect();
        let cap = match stroke.linecap() {
            LineCap::Butt => 0,
            LineCap::Round => 1,
            LineCap::Square => 2,
        };
        let join = match stroke.linejoin() {
            LineJoin::Round => 1,
            LineJoin::Bevel => 2,
            LineJoin::Miter | LineJoin::MiterClip => 0,
        };
        let (colour, width) = (colour(stroke.paint())?, short(stroke.width().get() * scale));
        let _ = writeln!(
            self.content,
            "{colour} RG\n{width} w {cap} J {join} j [{}] {} d\n{outline}S",
            dashes.join(" "),
            short(stroke.dashoffset() * scale)
        );
        Ok(())
    }

    fn opacity(&mut self, opacity: f32) {
        let opacity = short(opacity);
        let known = self.opacities.iter().position(|o| *o == opacity);
        let place = known.unwrap_or(self.opacities.len());
        if known.is_none() {
            self.opacities.push(opacity);
        }
        let _ = writeln!(self.content, "/G{place} gs");
    }
}

/// A colour as three shares.
fn colour(paint: &Paint) -> Result<String, String> {
    let Paint::Color(c) = paint else { return Err("a colour that is no plain one".to_owned()) };
    Ok([c.red, c.green, c.blue].map(|part| short(f32::from(part) / 255.0)).join(" "))
}

/// The operators of an outline; quadratic curves as the cubic ones they are.
fn outline_of(path: &Path) -> String {
    let mut out = String::new();
    let mut at = (0.0, 0.0);
    for segment in path.segments() {
        match segment {
            PathSegment::MoveTo(p) => {
                let _ = writeln!(out, "{} {} m", short(p.x), short(p.y));
                at = (p.x, p.y);
            }
            PathSegment::LineTo(p) => {
                let _ = writeln!(out, "{} {} l", short(p.x), short(p.y));
                at = (p.x, p.y);
            }
            PathSegment::QuadTo(c, p) => {
                let toward = |from: f32, to: f32| from + (to - from) * 2.0 / 3.0;
                let first = (toward(at.0, c.x), toward(at.1, c.y));
                let second = (toward(p.x, c.x), toward(p.y, c.y));
                curve(&mut out, [first, second, (p.x, p.y)]);
                at = (p.x, p.y);
            }
            PathSegment::CubicTo(a, b, p) => {
                curve(&mut out, [(a.x, a.y), (b.x, b.y), (p.x, p.y)]);
                at = (p.x, p.y);
            }
            PathSegment::Close => out.push_str("h\n"),
        }
    }
    out
}

fn curve(out: &mut String, points: [(f32, f32); 3]) {
    for (x, y) in points {
        let _ = write!(out, "{} {} ", short(x), short(y));
    }
    out.push_str("c\n");
}

/// A number with three decimals at most, a thousandth of a point.
fn short(value: f32) -> String {
    let text = format!("{value:.3}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" { "0".to_owned() } else { short.to_owned() }
}

/// A file of one page (ISO 32000-1, 7.5): header, objects, table of their places, trailer.
fn document(page: &str, content: &[u8]) -> Vec<u8> {
    let head = format!("<</Length {} /Filter /FlateDecode>>\nstream\n", content.len());
    let objects: [Vec<u8>; 4] = [
        b"<</Type /Catalog /Pages 2 0 R>>".to_vec(),
        b"<</Type /Pages /Kids [3 0 R] /Count 1>>".to_vec(),
        page.as_bytes().to_vec(),
        [head.as_bytes(), content, b"\nendstream"].concat(),
    ];
    let mut file = b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n".to_vec();
    let mut places = String::from("0000000000 65535 f \n");
    for (number, object) in (1..).zip(&objects) {
        let _ = writeln!(places, "{:010} 00000 n ", file.len());
        file.extend(format!("{number} 0 obj\n").into_bytes());
        file.extend(object);
        file.extend(b"\nendobj\n");
    }
    let start = file.len();
    let size = objects.len() + 1;
    let end = format!(
        "xref\n0 {size}\n{places}trailer\n<</Size {size} /Root 1 0 R>>\nstartxref\n{start}\n%%EOF\n"
    );
    file.extend(end.into_bytes());
    file
}

/// A file of one picture (TIFF 6.0): header, strips, the values that are longer than a field, fields.
fn tagged(columns: u32, rows: u32, dots_per_inch: u16, strips: &[Vec<u8>]) -> Vec<u8> {
    let mut file = b"II\x2a\0\0\0\0\0".to_vec();
    let length = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let mut places = Vec::new();
    for strip in strips {
        places.push(length(file.len()));
        file.extend(strip);
    }
    if file.len() % 2 == 1 {
        file.push(0);
    }
    let mut beside = |values: &[u32], short: bool| -> u32 {
        let at = length(file.len());
        for value in values {
            let bytes = value.to_le_bytes();
            file.extend(if short { &bytes[..2] } else { &bytes[..] });
        }
        if file.len() % 2 == 1 {
            file.push(0);
        }
        at
    };
    let bits = beside(&[8, 8, 8], true);
    let resolution = beside(&[u32::from(dots_per_inch), 1], false);
    let lengths: Vec<u32> = strips.iter().map(|s| length(s.len())).collect();
    let n = length(strips.len());
    let (offsets, counts) = match (&places[..], &lengths[..]) {
        ([place], [size]) => (*place, *size),
        _ => (beside(&places, false), beside(&lengths, false)),
    };
    // Tag, type (3 short, 4 long, 5 ratio), number of values, value or its place. Colours of a point
    // lie beside each other; resolution is to the inch.
    let fields: [[u32; 4]; 13] = [
        [256, 4, 1, columns],
        [257, 4, 1, rows],
        [258, 3, 3, bits],
        // Deflate; red, green, blue.
        [259, 3, 1, 8],
        [262, 3, 1, 2],
        [273, 4, n, offsets],
        [277, 3, 1, 3],
        [278, 4, 1, length(STRIP)],
        [279, 4, n, counts],
        [282, 5, 1, resolution],
        [283, 5, 1, resolution],
        [284, 3, 1, 1],
        [296, 3, 1, 2],
    ];
    let start = length(file.len());
    file.extend(13_u16.to_le_bytes());
    for [tag, kind, number, value] in fields {
        file.extend(&tag.to_le_bytes()[..2]);
        file.extend(&kind.to_le_bytes()[..2]);
        file.extend(number.to_le_bytes());
        file.extend(value.to_le_bytes());
    }
    file.extend(0_u32.to_le_bytes());
    file[4..8].copy_from_slice(&start.to_le_bytes());
    file
}

#[cfg(test)]
mod tests {
    use std::io::Read as _;

    use super::*;

    fn drawing(inside: &str) -> String {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"25.4mm\" height=\"12.7mm\" \
             viewBox=\"0 0 254 127\">{inside}</svg>"
        )
    }

    /// The operators on the page.
    fn content(pdf: &[u8]) -> String {
        let find = |what: &[u8]| pdf.windows(what.len()).position(|w| w == what).unwrap();
        let (from, to) = (find(b"stream\n") + 7, find(b"\nendstream"));
        let mut text = String::new();
        flate2::read::ZlibDecoder::new(&pdf[from..to]).read_to_string(&mut text).unwrap();
        text
    }

    /// An inch is 72 points: ten units of a drawing of 254 are 2.835 of them.
    #[test]
    fn a_page_has_the_size_of_the_figure_and_its_lines_in_points() {
        let line = "<path d=\"M10 20H110\" stroke=\"#0072B2\" stroke-width=\"4\" \
                    stroke-dasharray=\"22 9\" fill=\"none\"/>";
        let made = pdf(&drawing(line)).unwrap();
        let text = String::from_utf8_lossy(&made).into_owned();
        assert!(text.starts_with("%PDF-1.4") && text.ends_with("%%EOF\n"));
        assert!(text.contains("/MediaBox [0 0 72 36]"), "{text}");
        let page = content(&made);
        for words in ["2.835 5.669 m", "31.181 5.669 l", "0 0.447 0.698 RG", "[6.236 2.551] 0 d"] {
            assert!(page.contains(words), "{words}\n{page}");
        }
        assert_eq!(made, pdf(&drawing(line)).unwrap());
        // The table of places says where the objects begin.
        let table = text.rfind("startxref\n").unwrap();
        let start: usize = text[table + 10..].lines().next().unwrap().parse().unwrap();
        assert_eq!(&made[start..start + 4], b"xref");
    }

    #[test]
    fn letters_are_outlines_and_none_that_figures_use_is_missing() {
        let text = |letter: char| {
            let words = "font-family=\"sans-serif\" x=\"20\" y=\"60\"";
            drawing(&format!("<text {words}>{letter}</text>"))
        };
        let missing = content(&pdf(&text('\u{e123}')).unwrap());
        for letter in "Az0³²−–≥≤%()µ½°±".chars() {
            let page = content(&pdf(&text(letter)).unwrap());
            assert!(page.contains(" c\n") || page.contains(" l\n"), "{letter} is not drawn");
            assert_ne!(page, missing, "{letter}");
        }
    }

    #[test]
    fn a_tint_lets_others_through() {
        let page = pdf(&drawing("<path d=\"M1 1H9V9Z\" fill-opacity=\"0.15\"/>")).unwrap();
        assert!(String::from_utf8_lossy(&page).contains("/G0 <</ca 0.15 /CA 0.15>>"));
        assert!(content(&page).contains("/G0 gs"));
    }

    #[test]
    fn a_picture_for_print_has_its_points_and_says_its_resolution() {
        let made = tiff(&drawing("<path d=\"M0 0H254V127H0Z\" fill=\"#ff0000\"/>"), 600).unwrap();
        let number = |at: usize| u32::from_le_bytes(made[at..at + 4].try_into().unwrap());
        let fields = number(4) as usize;
        let value = |tag: u32| {
            let own = (0..13).map(|k| fields + 2 + 12 * k);
            let field = own.clone().find(|at| number(*at) & 0xffff == tag).unwrap();
            number(field + 8)
        };
        assert_eq!((&made[..4], value(256), value(257)), (&b"II\x2a\0"[..], 600, 300));
        let resolution = value(282) as usize;
        assert_eq!((number(resolution), number(resolution + 4)), (600, 1));
        let strip = number(value(273) as usize) as usize;
        let mut pixels = Vec::new();
        flate2::read::ZlibDecoder::new(&made[strip..]).read_to_end(&mut pixels).unwrap();
        assert_eq!((pixels.len(), &pixels[..6]), (600 * 64 * 3, &[255, 0, 0, 255, 0, 0][..]));
    }

    #[test]
    fn every_drawing_is_pressed_and_a_fault_is_said() {
        let files =
            [("a.svg", drawing("")), ("b.svg", "none".to_owned()), ("c.csv", String::new())];
        let files = files.map(|(name, text)| (name.to_owned(), text.into_bytes())).into();
        let (made, faults) = pressed(&files, true);
        assert_eq!(made.keys().collect::<Vec<_>>(), ["a.pdf", "a.tiff"]);
        assert_eq!(faults.len(), 2, "{faults:?}");
        assert!(faults[0].starts_with("b.svg could not be written as pdf: "), "{faults:?}");
        assert_eq!(pressed(&files, false).0.len(), 1);
    }

    #[test]
    fn what_is_no_drawing_is_refused_in_words() {
        assert!(!pdf("no drawing").unwrap_err().is_empty());
        assert!(tiff(&drawing(""), 60_000).unwrap_err().contains("too many"));
    }
}

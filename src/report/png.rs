//! An SVG of this program as PNG. The letters come with the program, so that the same picture has
//! the same bytes on a computer without any font; a character that they lack is an empty box, the
//! SVG has it. Opens no file.

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree};

/// Points of the picture for each unit of the drawing: sharp on paper at a quarter of a page.
const SCALE: f32 = 2.5;
/// No picture has more points than this, whatever the drawing: 160 MB while it is drawn.
const MOST_POINTS: f32 = 4e7;

/// The drawing as PNG.
///
/// # Errors
/// In words, when the text is no SVG or the picture would have no size.
pub fn png(svg: &str) -> Result<Vec<u8>, String> {
    let mut options = Options::default();
    let fonts = options.fontdb_mut();
    fonts.load_font_data(epaint_default_fonts::UBUNTU_LIGHT.to_vec());
    let family = fonts.faces().next().and_then(|f| f.families.first());
    if let Some((name, _)) = family.cloned() {
        fonts.set_sans_serif_family(name);
    }
    let tree = Tree::from_str(svg, &options).map_err(|e| e.to_string())?;
    let size = tree.size();
    let scale = SCALE.min((MOST_POINTS / (size.width() * size.height())).sqrt());
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below 4e7")]
    let points = |length: f32| (length * scale).ceil() as u32;
    let mut pixmap = Pixmap::new(points(size.width()), points(size.height()))
        .ok_or_else(|| "it has no size".to_owned())?;
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut pixmap.as_mut());
    pixmap.encode_png().map_err(|e| e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(inside: &str) -> Vec<u8> {
        let head = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"40\" height=\"20\">";
        png(&format!("{head}{inside}</svg>")).unwrap()
    }

    #[test]
    fn a_picture_has_its_size_and_its_letters() {
        let empty = drawn("");
        assert_eq!(&empty[1..4], b"PNG");
        // Width and height stand in the first chunk (IHDR), four bytes each.
        assert_eq!(empty[16..24], [0, 0, 0, 100, 0, 0, 0, 50]);
        let letter = drawn("<text x=\"5\" y=\"15\" font-family=\"sans-serif\">L</text>");
        assert_ne!(empty, letter, "the font has an L");
        assert_eq!(letter, drawn("<text x=\"5\" y=\"15\" font-family=\"sans-serif\">L</text>"));
    }

    #[test]
    fn what_is_no_drawing_is_refused_in_words() {
        assert!(!png("no drawing").unwrap_err().is_empty());
        assert!(
            !png("<svg xmlns=\"http://www.w3.org/2000/svg\" \
             width=\"-1\"/>")
            .unwrap_err()
            .is_empty()
        );
    }
}

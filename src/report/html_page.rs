//! What every page has around its content: head, style, what it may load (nothing), caution and
//! footer.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use tidydose_table::run::CAUTION;

/// The look of a page with its pictures.
const STYLE: &str = concat!(include_str!("picture.css"), include_str!("style.css"));

/// A page but for its content.
pub(super) struct Page {
    pub(super) title: String,
    /// Where the first link leads, for those who hear the page, and its words.
    pub(super) skip: (String, &'static str),
    pub(super) head: Markup,
    /// Runs in the browser; a page without one may run nothing.
    pub(super) script: Option<&'static str>,
    /// Whether images are in it, as data.
    pub(super) images: bool,
}

impl Page {
    /// The whole page as HTML.
    pub(super) fn with(self, content: &Markup) -> String {
        self.with_style("", content)
    }

    /// The whole page as HTML, with a look of its own besides.
    pub(super) fn with_style(self, style: &str, content: &Markup) -> String {
        let scripts = if self.script.is_some() { "; script-src 'unsafe-inline'" } else { "" };
        let images = if self.images { "; img-src data:" } else { "" };
        let (target, words) = self.skip;
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    // Whatever a text in the tables may try: nothing is loaded, nothing is sent.
                    meta http-equiv="Content-Security-Policy"
                        content={ "default-src 'none'; style-src 'unsafe-inline'" (scripts) (images) };
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    title { (self.title) }
                    style { (PreEscaped(STYLE)) (PreEscaped(style)) }
                }
                body {
                    a.skip href=(target) { (words) }
                    (self.head)
                    main { (content) }
                    footer {
                        p { (CAUTION) }
                        p { "Made by tidydose " (env!("CARGO_PKG_VERSION")) " from the tables of the \
                             study; nothing on this page is sent anywhere." }
                    }
                    @if let Some(script) = self.script { script { (PreEscaped(script)) } }
                }
            }
        };
        page.into_string()
    }
}

/// A part of the page with its heading.
pub(super) fn part(id: &str, heading: &str, body: &Markup) -> Markup {
    html! {
        section id=(id) aria-labelledby={ (id) "-h" } {
            h2 id={ (id) "-h" } tabindex="-1" { (heading) }
            (body)
            p.caution.print { (CAUTION) }
        }
    }
}

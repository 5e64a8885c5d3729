//! What all pages share: frame, style and pictures.

use minijinja::Environment;

use crate::draw::palette;

/// Cautions that belong with every capture, one paragraph each.
pub const CAUTIONS: [&str; 6] = [
    "A resonant reader antenna carries tens to hundreds of volts peak at modest supply voltage (V = ωLI). Use a rated probe or a divider, \
     better a pick-up coil held near it; never wire an antenna to a sound-card input; keep fingers off.",
    "Keep strong fields away from people with active implants.",
    "Limits of field strength and conditions of licence are local law.",
    "Implanting, restraining and examining animals is for qualified people under local rules.",
    "A number can lead to an owner: treat captures, and this page, as personal data.",
    "This is a bench and teaching aid. It is no evidence of identity and no certified measuring device.",
];

/// The one style sheet, with the colours of the figures.
pub fn style_sheet() -> String {
    let colours: String = palette()
        .iter()
        .map(|(name, value)| format!(" --{name}: {value};"))
        .collect();
    format!(":root {{{colours} }}\n{}", include_str!("style.css"))
}

/// The style sheet of pages with buttons and fields.
pub fn controls_sheet() -> String {
    format!("{}{}", style_sheet(), include_str!("controls.css"))
}

/// Templates that stand on the common frame; what is filled in is escaped unless marked as safe.
pub fn environment() -> Environment<'static> {
    let mut environment = Environment::new();
    environment.set_undefined_behavior(minijinja::UndefinedBehavior::Strict);
    environment.set_trim_blocks(true);
    environment.set_lstrip_blocks(true);
    // A template that does not parse fails every test that makes a page.
    let _ = environment.add_template("sheet.html", include_str!("sheet.html"));
    let _ = environment.add_template("cautions.html", include_str!("cautions.html"));
    let _ = environment.add_template("record.html", super::record::TEMPLATE);
    for (name, template) in super::reader::TEMPLATES {
        let _ = environment.add_template(name, template);
    }
    environment.add_global("worker", super::reader::WORKER);
    environment.add_global("cautions", CAUTIONS.to_vec());
    environment
}

/// An SVG picture as part of a page: as wide as its place, with words for those who cannot see it.
pub fn inline_svg(svg: &str, words: &str) -> String {
    let Some((head, rest)) = svg.split_once('>') else {
        return String::new();
    };
    let view_box = head
        .split_once("viewBox=\"")
        .and_then(|(_, rest)| rest.split('"').next())
        .unwrap_or_default();
    let words = escaped(words);
    format!(
        "<svg viewBox=\"{view_box}\" xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" aria-label=\"{words}\"><title>{words}</title>{rest}"
    )
}

/// Text as it stands in HTML and in its attributes.
pub fn escaped(text: &str) -> String {
    minijinja::HtmlEscape(text).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_keeps_its_shape_and_gets_words() {
        let svg = "<svg width=\"4\" height=\"3\" viewBox=\"0 0 4 3\" xmlns=\"x\">\n<rect/></svg>";
        let inline = inline_svg(svg, "a \"<b>\"");
        assert!(inline.starts_with("<svg viewBox=\"0 0 4 3\""), "{inline}");
        assert!(
            inline.contains("aria-label=\"a &quot;&lt;b&gt;&quot;\""),
            "{inline}"
        );
        assert!(inline.ends_with("<rect/></svg>"), "{inline}");
    }

    /// Relative luminance and contrast as in WCAG 2.1 (definitions, "contrast ratio"): 4.5 for text is level AA.
    #[test]
    fn texts_stand_out() {
        let luminance = |hex: &str| {
            let part = |at: usize| {
                let value = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
                if value <= 0.04045 {
                    value / 12.92
                } else {
                    ((value + 0.055) / 1.055).powf(2.4)
                }
            };
            0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
        };
        let contrast = |a: &str, b: &str| {
            let (a, b) = (luminance(a), luminance(b));
            (f64::max(a, b) + 0.05) / (f64::min(a, b) + 0.05)
        };
        let sheet = style_sheet();
        for background in [
            "#ffffff", "#f5f5f5", "#e6f5f1", "#fbefe6", "#fdf5e2", "#dddddd",
        ] {
            assert!(
                background == "#ffffff" || sheet.contains(background),
                "{background} is no longer used"
            );
            for (name, colour) in palette()
                .iter()
                .filter(|(name, _)| ["ink", "muted"].contains(name))
            {
                let contrast = contrast(colour, background);
                assert!(contrast >= 4.5, "{name} on {background}: {contrast:.2}");
            }
        }
        // Links stand on white only.
        let link = palette()
            .into_iter()
            .find(|(name, _)| *name == "blue")
            .unwrap()
            .1;
        assert!(contrast(&link, "#ffffff") >= 4.5);
    }
}

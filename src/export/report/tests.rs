//! Reports read back by an XML parser.

use quick_xml::Reader;
use quick_xml::events::Event;

use super::pictures::pictures_wanted;
use super::*;
use crate::advice::{AdviceOptions, next_time};
use crate::night::{FrameState, Night};
use crate::verdict::testkit::{Calm, lengthen, put};
use crate::verdict::{Purpose, Thresholds, Verdict, judge};

fn night() -> Night {
    let mut inputs = Calm::default().inputs();
    for input in &mut inputs[..4] {
        if let FrameState::Measured(m) = &mut input.state {
            lengthen(std::sync::Arc::make_mut(m), 6.0);
        }
    }
    inputs[20].state = FrameState::Failed("damaged: <b>\"&\u{7}".to_owned());
    inputs[21].name = "<script>alert('1')</script>.dng".to_owned();
    put(&inputs, true)
}

fn report(purpose: Purpose, decisions: &Decisions) -> String {
    let night = night();
    let judged = judge(&night, purpose, &Thresholds::default());
    let table = Table::new(&night, &judged, decisions);
    let advised = [next_time(&night, 0, &judged, &AdviceOptions::default())];
    let pictures: Vec<_> = (pictures_wanted(&table).into_iter())
        .map(|wanted| (wanted, vec![1, 2, 3]))
        .collect();
    assert!(pictures.len() >= 8, "{}", pictures.len());
    let mut bytes = Vec::new();
    let report = Report {
        title: "Moor & <Fell>",
        table: &table,
        decisions,
        next_time: &advised,
        pictures: &pictures,
        with_place: false,
    };
    write_report(&report, &mut bytes).unwrap();
    String::from_utf8(bytes).unwrap()
}

/// Names of all elements, in order; fails on what is not well-formed.
fn elements(markup: &str) -> Vec<String> {
    let mut reader = Reader::from_str(markup);
    let (mut names, mut depth) = (Vec::new(), 0);
    loop {
        match reader.read_event().unwrap() {
            Event::Start(tag) => {
                depth += 1;
                assert!(tag.attributes().all(|attribute| attribute.is_ok()));
                names.push(String::from_utf8(tag.name().into_inner().to_vec()).unwrap());
            }
            Event::Empty(tag) => {
                assert!(tag.attributes().all(|attribute| attribute.is_ok()));
                names.push(String::from_utf8(tag.name().into_inner().to_vec()).unwrap());
            }
            Event::End(_) => depth -= 1,
            Event::Eof => break,
            _ => {}
        }
    }
    assert_eq!(depth, 0);
    names
}

#[test]
fn a_report_is_well_formed_and_fetches_nothing() {
    for purpose in Purpose::ALL {
        let text = report(purpose, &[(50, Verdict::Reject)].into());
        let names = elements(&text);
        for wanted in ["h1", "svg", "table", "th", "img", "figcaption", "desc"] {
            assert!(names.iter().any(|name| name == wanted), "{wanted}");
        }
        for unwanted in ["script", "link", "iframe", "object", "b onclick"] {
            assert!(!names.iter().any(|name| name == unwanted), "{unwanted}");
        }
        // Namespaces are names; the only sources are pictures in the page itself.
        let addresses = text.matches("http").count();
        assert_eq!(addresses, 3, "two namespaces and http-equiv");
        assert_eq!(
            text.matches("src=").count(),
            text.matches("src=\"data:image/jpeg;base64,AQID\"").count()
        );
        assert_eq!(text.matches("<img").count(), text.matches("alt=\"").count());
        assert!(text.contains("Moor &amp; &lt;Fell&gt;"));
        assert!(text.contains("decided by you"));
        assert!(text.contains("damaged: &lt;b&gt;&quot;&amp;\u{fffd}"));
        assert!(!text.contains("NaN") && !text.contains("inf "));
    }
}

#[test]
fn headings_go_down_by_one() {
    let names = elements(&report(Purpose::Trails, &Decisions::new()));
    let levels: Vec<u32> = (names.iter())
        .filter_map(|name| name.strip_prefix('h')?.parse().ok())
        .collect();
    assert_eq!(levels.iter().filter(|level| **level == 1).count(), 1);
    assert!(
        levels.windows(2).all(|pair| pair[1] <= pair[0] + 1),
        "{levels:?}"
    );
}

#[test]
fn the_chart_stands_alone() {
    let night = night();
    let judged = judge(&night, Purpose::Trails, &Thresholds::default());
    let table = Table::new(&night, &judged, &Decisions::new());
    let mut bytes = Vec::new();
    write_chart(&table, 0, "Fell", &mut bytes).unwrap();
    let text = String::from_utf8(bytes).unwrap();
    let names = elements(&text);
    assert_eq!(names.first().map(String::as_str), Some("svg"));
    for lane in [
        "Star shape",
        "Sky background",
        "Noise",
        "Stars counted",
        "Pointing shift",
    ] {
        assert!(text.contains(lane), "{lane}");
    }
    // Every verdict is told by shape: rejected frames have crosses.
    assert!(text.contains("l4.4 4.4"));
    assert!(write_chart(&table, 9, "Fell", &mut Vec::new()).is_err());
}

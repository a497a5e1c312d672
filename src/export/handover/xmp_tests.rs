//! Packets as other programs write them, and every one that chance makes up.

use proptest::prelude::*;

use super::xmp::*;

/// Where `changed` differs from `packet`: what was there, what is there now.
fn difference(packet: &[u8], changed: &[u8]) -> (String, String) {
    let shorter = packet.len().min(changed.len());
    let ahead = (0..shorter)
        .take_while(|&i| packet[i] == changed[i])
        .count();
    let behind = (0..shorter - ahead)
        .take_while(|&i| packet[packet.len() - 1 - i] == changed[changed.len() - 1 - i])
        .count();
    let middle =
        |bytes: &[u8]| String::from_utf8_lossy(&bytes[ahead..bytes.len() - behind]).into_owned();
    (middle(packet), middle(changed))
}

fn rejected(packet: &str) -> String {
    String::from_utf8(with_rating(packet.as_bytes(), REJECTED).unwrap()).unwrap()
}

#[test]
fn a_new_packet_says_the_rating() {
    let packet = new_packet(REJECTED);
    assert_eq!(rating_of(&packet).unwrap().as_deref(), Some("-1"));
    assert_eq!(with_rating(&packet, REJECTED).unwrap(), packet);
    let five = with_rating(&packet, 5).unwrap();
    assert_eq!(
        difference(&packet, &five),
        ("-1".to_owned(), "5".to_owned())
    );
}

const HEAD: &str = "<x:xmpmeta xmlns:x='adobe:ns:meta/'>\n<r:RDF \
                    xmlns:r='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>";
const TAIL: &str = "</r:RDF></x:xmpmeta>";
const NS: &str = "xmlns:xap='http://ns.adobe.com/xap/1.0/'";

#[test]
fn a_rating_is_changed_in_the_form_it_has() {
    for (form, after) in [
        (
            format!("<r:Description r:about='' {NS} xap:Rating = '3' xap:Label=\"x\"/>"),
            format!("<r:Description r:about='' {NS} xap:Rating = '-1' xap:Label=\"x\"/>"),
        ),
        (
            format!(
                "<r:Description {NS}><!-- Rating --><xap:Rating>3</xap:Rating></r:Description>"
            ),
            format!(
                "<r:Description {NS}><!-- Rating --><xap:Rating>-1</xap:Rating></r:Description>"
            ),
        ),
        (
            format!("<r:Description {NS}><xap:Rating /></r:Description>"),
            format!("<r:Description {NS}><xap:Rating >-1</xap:Rating></r:Description>"),
        ),
        // Twice: both say so, or readers would not agree.
        (
            format!("<r:Description {NS} xap:Rating='&#50;'/><r:Description {NS} xap:Rating='0'/>"),
            format!("<r:Description {NS} xap:Rating='-1'/><r:Description {NS} xap:Rating='-1'/>"),
        ),
        // A rating of another namespace is another matter.
        (
            format!("<r:Description {NS} xmlns:q='urn:q' q:Rating='7'/>"),
            format!("<r:Description xap:Rating=\"-1\" {NS} xmlns:q='urn:q' q:Rating='7'/>"),
        ),
        // A prefix that is taken by something else.
        (
            "<r:Description xmlns:xmp='urn:q' xmp:Rating='7'/>".to_owned(),
            "<r:Description xmlns:xmpn=\"http://ns.adobe.com/xap/1.0/\" xmpn:Rating=\"-1\" \
             xmlns:xmp='urn:q' xmp:Rating='7'/>"
                .to_owned(),
        ),
        (
            String::new(),
            "<rdf:Description xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\" \
             rdf:about=\"\" xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\" xmp:Rating=\"-1\"/>"
                .to_owned(),
        ),
    ] {
        let packet = format!("{HEAD}{form}{TAIL}");
        assert_eq!(rejected(&packet), format!("{HEAD}{after}{TAIL}"));
    }
    let bare = "<RDF xmlns='http://www.w3.org/1999/02/22-rdf-syntax-ns#'/>";
    assert!(rejected(bare).ends_with("xmp:Rating=\"-1\"/></RDF>"));
}

#[test]
fn a_rating_inside_a_structure_is_not_the_pictures() {
    let inner = format!(
        "{HEAD}<r:Description {NS} xmlns:q='urn:q'><q:of><r:Description xap:Rating='2'/></q:of>\
         </r:Description>{TAIL}"
    );
    assert_eq!(rating_of(inner.as_bytes()).unwrap(), None);
    assert!(rejected(&inner).contains("<r:Description xap:Rating='2'/>"));
}

#[test]
fn what_is_no_packet_or_unclear_is_refused() {
    let deep = format!(
        "{HEAD}<r:Description {NS}><xap:Rating><r:value>3</r:value></xap:Rating></r:Description>{TAIL}"
    );
    assert_eq!(
        with_rating(deep.as_bytes(), REJECTED),
        Err(XmpError::Unclear)
    );
    for other in ["", "hello", "<html/>", "<a>&x;</a>"] {
        assert_eq!(
            with_rating(other.as_bytes(), REJECTED),
            Err(XmpError::NotXmp),
            "{other}"
        );
    }
    for broken in [&HEAD[..40], HEAD, "<a></b>", "<a b='", "<!-- "] {
        let refused = with_rating(broken.as_bytes(), REJECTED);
        assert!(
            matches!(refused, Err(XmpError::Damaged(_))),
            "{broken}: {refused:?}"
        );
    }
}

#[test]
fn wide_text_stays_wide() {
    let packet =
        format!("\u{feff}{HEAD}<r:Description {NS} xap:Label='gr\u{fc}n \u{1f30c}'/>{TAIL}");
    let wide = |text: &str, is_little: bool| -> Vec<u8> {
        (text.encode_utf16())
            .flat_map(|unit| {
                if is_little {
                    unit.to_le_bytes()
                } else {
                    unit.to_be_bytes()
                }
            })
            .collect()
    };
    for is_little in [true, false] {
        let changed = with_rating(&wide(&packet, is_little), REJECTED).unwrap();
        let wanted = packet.replace("Description ", "Description xap:Rating=\"-1\" ");
        assert_eq!(changed, wide(&wanted, is_little));
    }
    let odd = [0xff, 0xfe, 0x3c];
    assert!(matches!(
        with_rating(&odd, REJECTED),
        Err(XmpError::Damaged(_))
    ));
}

/// Things other programs may put into a packet.
fn unknown() -> impl Strategy<Value = String> {
    let text = "[a-z&&[^x]]{0,6}";
    prop_oneof![
        (text, text).prop_map(|(a, b)| format!("<q:n{a}>{b}</q:n{a}>")),
        text.prop_map(|a| format!("<!-- {a} xap:Rating='4' -->")),
        text.prop_map(|a| format!("<q:e b='{a}'\n\t/>")),
        Just("<q:Rating>5</q:Rating>".to_owned()),
        Just("<q:list><r:Bag><r:li>-1</r:li><r:li/></r:Bag></q:list>".to_owned()),
        Just("<?nothing of note?>".to_owned()),
        Just("<q:c><![CDATA[ <xap:Rating>3</xap:Rating> ]]></q:c>".to_owned()),
        Just("\r\n   \u{e9}\u{1f30c}&amp;&#x20;".to_owned()),
    ]
}

proptest! {
    #[test]
    fn all_but_the_rating_stays(
        before in proptest::collection::vec(unknown(), 0..6),
        after in proptest::collection::vec(unknown(), 0..6),
        form in 0..4usize,
        old in -1..=5i8,
        has_mark in any::<bool>(),
    ) {
        let (attribute, element) = match form {
            0 => (format!(" xap:Rating='{old}'"), String::new()),
            1 => (String::new(), format!("<xap:Rating>{old}</xap:Rating>")),
            2 => (String::new(), format!("<xap:Rating q:a='\"'>\n{old} </xap:Rating>")),
            _ => (String::new(), String::new()),
        };
        let mark = if has_mark { "\u{feff}" } else { "" };
        let packet = format!(
            "{mark}<?xml version='1.0'?>{HEAD}<r:Description {NS} xmlns:q='urn:q' q:a='>'{attribute}>\
             {}{element}{}</r:Description>{TAIL}\n<?xpacket end='w'?>   ",
            before.concat(), after.concat(),
        );
        let changed = with_rating(packet.as_bytes(), REJECTED).unwrap();
        prop_assert_eq!(rating_of(&changed).unwrap(), Some("-1".to_owned()));
        let (was, is) = difference(packet.as_bytes(), &changed);
        if form == 3 {
            prop_assert_eq!(was, "");
            prop_assert_eq!(is.len(), " xap:Rating=\"-1\"".len());
        } else {
            // The rating is all that was touched.
            prop_assert!(old.to_string().contains(was.trim()), "{} {}", was, is);
            prop_assert!("-1".contains(is.trim()), "{} {}", was, is);
            if form != 2 {
                let back = with_rating(&changed, old).unwrap();
                prop_assert_eq!(back, packet.into_bytes());
            }
        }
        // Again changes nothing.
        prop_assert_eq!(&with_rating(&changed, REJECTED).unwrap(), &changed);
    }

    #[test]
    fn no_bytes_bring_it_down(bytes in proptest::collection::vec(any::<u8>(), 0..200), cut in 0..600usize, flip in 0..600usize) {
        let _ = with_rating(&bytes, REJECTED);
        let mut packet = new_packet(3);
        let at = flip % packet.len();
        packet[at] ^= 0x15;
        packet.truncate(cut);
        if let Ok(changed) = with_rating(&packet, REJECTED) {
            prop_assert_eq!(rating_of(&changed).unwrap(), Some("-1".to_owned()));
        }
    }
}

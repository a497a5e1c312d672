//! The rating in an XMP packet (ISO 16684-1): read, and changed with everything else in the packet
//! left as it is, byte for byte.
//!
//! A packet is changed where the rating stands and nowhere else, rather than read into a tree and
//! written again: whatever another program put there, in whatever namespace and spacing, stays.

use std::ops::Range;

use quick_xml::NsReader;
use quick_xml::events::{BytesStart, Event};
use quick_xml::name::{Namespace, PrefixDeclaration, QName, ResolveResult};

/// The namespaces of ISO 16684-1: RDF's and the one of `Rating`.
const RDF: &[u8] = b"http://www.w3.org/1999/02/22-rdf-syntax-ns#";
const XMP: &str = "http://ns.adobe.com/xap/1.0/";

/// The rating of a rejected frame in ISO 16684-1.
pub const REJECTED: i8 = -1;

/// Why a rating could not be put into a packet.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum XmpError {
    /// There is no RDF in it.
    #[error("it is no rating file as ISO 16684-1 has them")]
    NotXmp,
    /// It ends early, or its elements do not match.
    #[error("it is damaged: {0}")]
    Damaged(String),
    /// The rating is there, in a form that is not plain.
    #[error("its rating is written in a way that is not understood")]
    Unclear,
}

/// A packet that says nothing but the rating.
#[must_use]
pub fn new_packet(rating: i8) -> Vec<u8> {
    // The xpacket line with this id is how the standard has a packet begin.
    format!(
        "<?xpacket begin=\"\u{feff}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n\
         <x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n \
         <rdf:RDF xmlns:rdf=\"{}\">\n  \
         <rdf:Description rdf:about=\"\" xmlns:xmp=\"{XMP}\" xmp:Rating=\"{rating}\"/>\n \
         </rdf:RDF>\n</x:xmpmeta>\n<?xpacket end=\"w\"?>\n",
        String::from_utf8_lossy(RDF)
    )
    .into_bytes()
}

/// The rating in a packet, as it is written; `None` when there is none.
///
/// # Errors
/// When it is no XMP packet, or a damaged one.
pub fn rating_of(packet: &[u8]) -> Result<Option<String>, XmpError> {
    let text = Text::of(packet)?;
    let found = scan(text.utf8())?;
    Ok((found.ratings.first()).map(|spot| spot.value.trim().to_owned()))
}

/// The packet with `rating` in place of the one it has, or added; all else as it was.
///
/// # Errors
/// When it is no XMP packet, a damaged one, or its rating is not plain text.
pub fn with_rating(packet: &[u8], rating: i8) -> Result<Vec<u8>, XmpError> {
    let text = Text::of(packet)?;
    let utf8 = text.utf8();
    let found = scan(utf8)?;
    let rating = rating.to_string();
    let mut edits: Vec<(Range<usize>, String)> = Vec::new();
    for spot in found.ratings {
        edits.push((spot.range, spot.lead + &rating + &spot.tail));
    }
    if edits.is_empty() {
        let place = found.place.ok_or(XmpError::NotXmp)?;
        edits.push((place.range, place.lead + &rating + &place.tail));
    }
    let mut changed = Vec::with_capacity(utf8.len() + 120);
    let mut at = 0;
    for (range, new) in edits {
        changed.extend_from_slice(utf8.get(at..range.start).ok_or(XmpError::Unclear)?);
        changed.extend_from_slice(new.as_bytes());
        at = range.end;
    }
    changed.extend_from_slice(utf8.get(at..).ok_or(XmpError::Unclear)?);
    // What comes out must read as it was meant, or the packet is better left alone.
    let reads = scan(&changed)?.ratings;
    if reads.is_empty() || reads.iter().any(|spot| spot.value.trim() != rating) {
        return Err(XmpError::Unclear);
    }
    text.pack(changed)
}

/// A packet's text in UTF-8, and how it was written.
enum Text<'a> {
    /// UTF-8, or something that agrees with it in every character that matters here.
    Plain(&'a [u8]),
    /// UTF-16 with a byte order mark.
    Wide { utf8: Vec<u8>, is_little: bool },
}

impl<'a> Text<'a> {
    fn of(packet: &'a [u8]) -> Result<Self, XmpError> {
        let is_little = match packet {
            [0xff, 0xfe, ..] => true,
            [0xfe, 0xff, ..] => false,
            _ => return Ok(Self::Plain(packet)),
        };
        let damaged = || XmpError::Damaged("not whole UTF-16".to_owned());
        let (pairs, rest) = packet.as_chunks::<2>();
        if !rest.is_empty() {
            return Err(damaged());
        }
        let units = pairs.iter().map(|&pair| {
            if is_little {
                u16::from_le_bytes(pair)
            } else {
                u16::from_be_bytes(pair)
            }
        });
        let text: Result<String, _> = char::decode_utf16(units).collect();
        let utf8 = text.map_err(|_| damaged())?.into_bytes();
        Ok(Self::Wide { utf8, is_little })
    }

    fn utf8(&self) -> &[u8] {
        match self {
            Self::Plain(bytes) => bytes,
            Self::Wide { utf8, .. } => utf8,
        }
    }

    /// `utf8` written the way this packet is.
    fn pack(&self, utf8: Vec<u8>) -> Result<Vec<u8>, XmpError> {
        let Self::Wide { is_little, .. } = self else {
            return Ok(utf8);
        };
        let text = String::from_utf8(utf8).map_err(|_| XmpError::Unclear)?;
        let units = text.encode_utf16().flat_map(|unit| {
            if *is_little {
                unit.to_le_bytes()
            } else {
                unit.to_be_bytes()
            }
        });
        Ok(units.collect())
    }
}

/// A part of the packet to replace: by `lead`, the rating, `tail`.
struct Spot {
    range: Range<usize>,
    lead: String,
    tail: String,
    /// What stands there now.
    value: String,
}

#[derive(Default)]
struct Scan {
    ratings: Vec<Spot>,
    /// Where a rating goes when there is none.
    place: Option<Spot>,
    /// Whether `place` is in a description, which is where it belongs.
    is_described: bool,
}

/// Elements that are open, as far as they matter.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Inside {
    Outside,
    Rdf,
    Description,
    Rating,
    Other,
}

fn scan(utf8: &[u8]) -> Result<Scan, XmpError> {
    // A byte order mark is no part of the XML.
    let skipped = if utf8.starts_with(b"\xef\xbb\xbf") {
        3
    } else {
        0
    };
    let damaged = |fault: quick_xml::Error| XmpError::Damaged(fault.to_string());
    let mut reader = NsReader::from_reader(utf8.get(skipped..).unwrap_or_default());
    let mut open: Vec<Inside> = Vec::new();
    let mut found = Scan::default();
    let mut has_rdf = false;
    let mut rating_from = 0;
    loop {
        let from = skipped + reader.buffer_position() as usize;
        let event = reader.read_event().map_err(damaged)?;
        let to = skipped + reader.buffer_position() as usize;
        let within = open.last().copied().unwrap_or(Inside::Outside);
        match &event {
            Event::Start(tag) | Event::Empty(tag) => {
                let is_empty = matches!(event, Event::Empty(_));
                let text = utf8.get(from..to).unwrap_or_default();
                let tag = Tag {
                    reader: &reader,
                    name: tag,
                    text,
                    from,
                    is_empty,
                };
                if within == Inside::Rating {
                    return Err(XmpError::Unclear);
                }
                let inside = tag.inside(within);
                has_rdf |= inside == Inside::Rdf;
                tag.look(inside, &mut found);
                rating_from = to;
                if !is_empty {
                    open.push(inside);
                }
            }
            Event::End(_) => {
                if within == Inside::Rating {
                    let value = utf8.get(rating_from..from).unwrap_or_default();
                    found.ratings.push(Spot {
                        range: rating_from..from,
                        lead: String::new(),
                        tail: String::new(),
                        value: plain(value),
                    });
                }
                open.pop();
            }
            Event::Eof => break,
            _ => {}
        }
    }
    if !open.is_empty() {
        return Err(XmpError::Damaged("it ends early".to_owned()));
    }
    if has_rdf {
        Ok(found)
    } else {
        Err(XmpError::NotXmp)
    }
}

/// A start tag or an empty element in its place.
struct Tag<'a, 'b> {
    reader: &'a NsReader<&'b [u8]>,
    name: &'a BytesStart<'b>,
    /// All of it, with its brackets.
    text: &'a [u8],
    /// Where it begins in the packet.
    from: usize,
    is_empty: bool,
}

impl Tag<'_, '_> {
    /// What it opens, inside of what it stands.
    fn inside(&self, within: Inside) -> Inside {
        let (namespace, local) = self.reader.resolver().resolve_element(self.name.name());
        match (within, local.into_inner()) {
            (Inside::Description, b"Rating") if is_in(&namespace, XMP.as_bytes()) => Inside::Rating,
            (Inside::Rdf, b"Description") if is_in(&namespace, RDF) => Inside::Description,
            (Inside::Outside | Inside::Other, b"RDF") if is_in(&namespace, RDF) => Inside::Rdf,
            _ => Inside::Other,
        }
    }

    fn look(&self, inside: Inside, found: &mut Scan) {
        match inside {
            Inside::Rdf if found.place.is_none() => found.place = Some(self.room_in_rdf()),
            Inside::Description => {
                found.ratings.extend(self.rating_attribute());
                if !found.is_described {
                    found.place = Some(self.room_in_description());
                    found.is_described = true;
                }
            }
            Inside::Rating if self.is_empty => found.ratings.push(self.empty_rating()),
            _ => {}
        }
    }

    fn rating_attribute(&self) -> Option<Spot> {
        attributes(self.text, self.name.name().into_inner().len() + 1).find_map(|(name, value)| {
            let name = QName(self.text.get(name)?);
            let (namespace, local) = self.reader.resolver().resolve_attribute(name);
            let is_rating = local.into_inner() == b"Rating" && is_in(&namespace, XMP.as_bytes());
            is_rating.then(|| Spot {
                value: plain(self.text.get(value.clone()).unwrap_or_default()),
                range: self.from + value.start..self.from + value.end,
                lead: String::new(),
                tail: String::new(),
            })
        })
    }

    /// `<xmp:Rating/>` becomes `<xmp:Rating>-1</xmp:Rating>`.
    fn empty_rating(&self) -> Spot {
        let end = self.from + self.text.len();
        Spot {
            range: end.saturating_sub(2)..end,
            lead: ">".to_owned(),
            tail: format!("</{}>", self.written_name()),
            value: String::new(),
        }
    }

    /// Room for an attribute after the element's name.
    fn room_in_description(&self) -> Spot {
        let at = self.from + 1 + self.name.name().into_inner().len();
        let (prefix, declared) = self.prefix();
        Spot {
            range: at..at,
            lead: format!("{declared} {prefix}:Rating=\""),
            tail: "\"".to_owned(),
            value: String::new(),
        }
    }

    /// Room for a whole description inside RDF.
    fn room_in_rdf(&self) -> Spot {
        let end = self.from + self.text.len();
        let lead = format!(
            "<rdf:Description xmlns:rdf=\"{}\" rdf:about=\"\" xmlns:xmp=\"{XMP}\" xmp:Rating=\"",
            String::from_utf8_lossy(RDF)
        );
        let tail = "\"/>".to_owned();
        let value = String::new();
        if self.is_empty {
            return Spot {
                range: end.saturating_sub(2)..end,
                lead: format!(">{lead}"),
                tail: format!("{tail}</{}>", self.written_name()),
                value,
            };
        }
        Spot {
            range: end..end,
            lead,
            tail,
            value,
        }
    }

    fn written_name(&self) -> String {
        String::from_utf8_lossy(self.name.name().into_inner()).into_owned()
    }

    /// A prefix that means XMP's namespace here, and what declares it where nothing does yet.
    fn prefix(&self) -> (String, String) {
        let resolver = self.reader.resolver();
        let is_bound = |prefix: &str, to: Option<&str>| {
            let name = format!("{prefix}:Rating");
            match resolver.resolve_attribute(QName(name.as_bytes())).0 {
                ResolveResult::Bound(Namespace(bound)) => {
                    to.is_none_or(|to| bound == to.as_bytes())
                }
                _ => false,
            }
        };
        let bound = resolver.bindings().find_map(|(declared, _)| {
            let PrefixDeclaration::Named(prefix) = declared else {
                return None;
            };
            let prefix = String::from_utf8_lossy(prefix).into_owned();
            is_bound(&prefix, Some(XMP)).then_some(prefix)
        });
        if let Some(prefix) = bound {
            return (prefix, String::new());
        }
        let mut prefix = "xmp".to_owned();
        while is_bound(&prefix, None) {
            prefix.push('n');
        }
        let declared = format!(" xmlns:{prefix}=\"{XMP}\"");
        (prefix, declared)
    }
}

fn is_in(found: &ResolveResult<'_>, namespace: &[u8]) -> bool {
    matches!(found, ResolveResult::Bound(Namespace(bound)) if *bound == namespace)
}

/// Text as written, with the references a number can be hidden behind resolved.
fn plain(value: &[u8]) -> String {
    let text = String::from_utf8_lossy(value);
    quick_xml::escape::unescape(&text).map_or_else(|_| text.to_string(), |plain| plain.to_string())
}

/// Names and values of the attributes in a tag, as ranges of it, from `at` on.
fn attributes(tag: &[u8], mut at: usize) -> impl Iterator<Item = (Range<usize>, Range<usize>)> {
    std::iter::from_fn(move || {
        let find = |from: usize, is_wanted: &dyn Fn(u8) -> bool| {
            let rest = tag.get(from..)?;
            Some(from + rest.iter().position(|&byte| is_wanted(byte))?)
        };
        let name_from = find(at, &|byte| !byte.is_ascii_whitespace())?;
        let equals = find(name_from, &|byte| byte == b'=')?;
        let name = tag.get(name_from..equals)?;
        let name_to = name_from + name.trim_ascii_end().len();
        let quote_at = find(equals + 1, &|byte| byte == b'"' || byte == b'\'')?;
        let quote = *tag.get(quote_at)?;
        let close = find(quote_at + 1, &|byte| byte == quote)?;
        at = close + 1;
        Some((name_from..name_to, quote_at + 1..close))
    })
}

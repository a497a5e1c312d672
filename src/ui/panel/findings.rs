//! The findings: as many open as fit, at least two; the rest a line each.

use std::collections::BTreeMap;

use egui::{Rect, ScrollArea, Stroke, Ui, pos2, vec2};

use super::finding_card::{self, Card};
use super::{Cx, heading, inside};
use crate::app::{Action, FindingKey, OpenNight};
use crate::ui::theme::size;
use crate::ui::widgets;

/// Height of the heading, points.
const HEADING: f32 = 28.0;
/// Cards open at least.
const LEAST_OPEN: usize = 2;

fn cards<'a>(ui: &Ui, cx: Cx<'a>, open: &'a OpenNight, width: f32) -> Vec<Card<'a>> {
    let mut advised_given = false;
    (open.judged().findings.iter())
        .map(|finding| {
            let answered = open.answer_to(finding);
            let has_advice = finding.offers.iter().any(|offer| offer.advised);
            let is_main = answered.is_none() && has_advice && !advised_given;
            advised_given |= is_main;
            Card::new(ui, cx, open, finding, is_main, width)
        })
        .collect()
}

/// The heights with as few findings open as may be, and with all open.
pub(super) fn heights(ui: &Ui, cx: Cx<'_>, open: &OpenNight, width: f32) -> (f32, f32) {
    let cards = cards(ui, cx, open, width);
    if cards.is_empty() {
        return (HEADING + 60.0, HEADING + 60.0);
    }
    let all: f32 = cards.iter().map(Card::natural_height).sum();
    let few: f32 = (cards.iter().enumerate())
        .map(|(index, card)| {
            if index < LEAST_OPEN {
                card.natural_height()
            } else {
                finding_card::LINE
            }
        })
        .sum();
    (HEADING + few, HEADING + all)
}

/// Which cards are open in `room`: the first ones as long as they fit, then what the person
/// opened or closed.
fn which_open(cards: &[Card<'_>], opened: &BTreeMap<FindingKey, bool>, room: f32) -> Vec<bool> {
    let mut rest = room - finding_card::LINE * cards.len() as f32;
    let mut is_full = false;
    let mut count = 0;
    (cards.iter())
        .map(|card| {
            let by_default = !card.is_line_only() && {
                let more = card.open_height() - finding_card::LINE;
                is_full |= more > rest && count >= LEAST_OPEN;
                if !is_full {
                    rest -= more;
                    count += 1;
                }
                !is_full
            };
            opened.get(&card.key()).copied().unwrap_or(by_default)
        })
        .collect()
}

pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    open: &OpenNight,
    opened: &mut BTreeMap<FindingKey, bool>,
    actions: &mut Vec<Action>,
) {
    let area = ui.max_rect();
    let mut body = area;
    if !cx.fold.narrow {
        let (head, rest) = area.split_top_bottom_at_y(area.top() + HEADING);
        let hint = if open.progress.is_some() {
            "so far"
        } else {
            "what costs you most comes first"
        };
        heading(ui, cx, head, "Findings", hint);
        body = rest;
        ui.painter().hline(
            body.x_range(),
            body.top() - 0.5,
            Stroke::new(1.0, cx.t.line),
        );
    }
    let cards = cards(ui, cx, open, area.width());
    if cards.is_empty() {
        nothing(ui, cx, open, body);
        return;
    }
    let is_open = which_open(&cards, opened, body.height());
    inside(ui, "cards", body, |ui| {
        ui.spacing_mut().item_spacing.y = 0.0;
        ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
            for (index, (card, is_open)) in cards.iter().zip(is_open).enumerate() {
                let height = if is_open {
                    card.open_height()
                } else {
                    finding_card::LINE
                };
                let width = ui.available_width();
                let (rect, _) = ui.allocate_exact_size(vec2(width, height), egui::Sense::hover());
                if index > 0 {
                    let rule = Stroke::new(1.0, cx.t.line);
                    ui.painter().hline(rect.x_range(), rect.top() + 0.5, rule);
                }
                if card.show(ui, cx, rect, is_open, actions) {
                    opened.insert(card.key(), !is_open);
                }
            }
        });
    });
}

fn nothing(ui: &mut Ui, cx: Cx<'_>, open: &OpenNight, body: Rect) {
    let text = if open.progress.is_some() || open.night().rows.is_empty() {
        "Findings appear as frames are measured."
    } else {
        "Nothing stood out: every frame agrees with its neighbours."
    };
    let at = Rect::from_min_max(
        body.min + vec2(super::PAD, 10.0),
        pos2(body.right(), body.bottom()),
    );
    inside(ui, "nothing", at, |ui| {
        widgets::text(ui, text, size::BODY, cx.t.ink2);
    });
}

//! One finding: its mark, title, evidence, and what can be done.

use std::sync::Arc;

use egui::{Align, Galley, Key, Layout, Rect, Role, Sense, Ui, Vec2, WidgetInfo, pos2, vec2};

use super::{Cx, PAD, inside};
use crate::app::{Action, FindingKey, OpenNight};
use crate::ui::marks::{self, MarkKind};
use crate::ui::theme::{self, size};
use crate::ui::widgets::{self, Button, Look};
use crate::verdict::{Finding, News, Offer, Reason, Verdict};

/// Height of a finding in one line, points.
pub(super) const LINE: f32 = 30.0;

/// A finding laid out for a panel.
pub(super) struct Card<'a> {
    finding: &'a Finding,
    key: FindingKey,
    /// What was done about it.
    done: Option<&'a str>,
    /// Whether its advised button is the filled one.
    is_main: bool,
    evidence: Arc<Galley>,
    rows_of_buttons: f32,
}

/// Words of an offer for a narrow panel: without "these" and "the".
fn label_of(offer: &Offer, cx: Cx<'_>) -> String {
    if cx.fold.narrow {
        offer.label.replace(" these ", " ").replace(" the ", " ")
    } else {
        offer.label.clone()
    }
}

impl<'a> Card<'a> {
    pub(super) fn new(
        ui: &Ui,
        cx: Cx<'_>,
        open: &'a OpenNight,
        finding: &'a Finding,
        is_main: bool,
        width: f32,
    ) -> Self {
        let room = width - text_left(cx) - PAD;
        let font = theme::words(13.0);
        let evidence = (ui.painter()).layout(finding.evidence.clone(), font, cx.t.ink2, room);
        let mut card = Self {
            finding,
            key: open.key_of(finding),
            done: open.answer_to(finding).map(|answer| answer.done.as_str()),
            is_main,
            evidence,
            rows_of_buttons: 1.0,
        };
        card.rows_of_buttons = card.count_rows(ui, cx, room);
        card
    }

    pub(super) const fn key(&self) -> FindingKey {
        self.key
    }

    /// Whether it stays a line unless the person opens it: it is answered.
    pub(super) const fn is_line_only(&self) -> bool {
        self.done.is_some()
    }

    pub(super) fn open_height(&self) -> f32 {
        let buttons = self.rows_of_buttons * 30.0;
        30.0 + self.evidence.size().y + 4.0 + buttons + 4.0
    }

    pub(super) fn natural_height(&self) -> f32 {
        if self.is_line_only() {
            LINE
        } else {
            self.open_height()
        }
    }

    fn labels(&self, cx: Cx<'_>) -> Vec<String> {
        if self.done.is_some() {
            return vec![self.show_label(cx), "Take back".to_owned()];
        }
        let offers = self.finding.offers.iter().map(|offer| label_of(offer, cx));
        let mut labels = vec![self.show_label(cx)];
        labels.extend(offers);
        labels.push("Leave".to_owned());
        labels
    }

    fn show_label(&self, cx: Cx<'_>) -> String {
        match self.finding.rows.len() {
            1 => "Show".to_owned(),
            n if cx.fold.narrow => format!("Show {n}"),
            n => format!("Show these {n}"),
        }
    }

    fn count_rows(&self, ui: &Ui, cx: Cx<'_>, room: f32) -> f32 {
        let (mut rows, mut x) = (1.0, 0.0);
        for label in self.labels(cx) {
            let width = Button::new(&label).measure(ui).x + 6.0;
            if x > 0.0 && x + width > room {
                rows += 1.0;
                x = 0.0;
            }
            x += width;
        }
        rows
    }

    /// Draws it; whether the person opened or closed it comes back.
    pub(super) fn show(
        &self,
        ui: &mut Ui,
        cx: Cx<'_>,
        rect: Rect,
        is_open: bool,
        actions: &mut Vec<Action>,
    ) -> bool {
        let t = cx.t;
        let head = rect.with_max_y(rect.top() + LINE);
        let action_width = if is_open {
            0.0
        } else {
            self.one_action(ui, cx, head, actions)
        };
        let head_hit = head.with_max_x(head.right() - action_width);
        let response = ui.interact(head_hit, ui.scope_id().with(self.key), Sense::click());
        let count = self.finding.rows.len();
        let frames = if count == 1 {
            "1 frame".to_owned()
        } else {
            format!("{count} frames")
        };
        response.widget_info(|| {
            let told = if is_note(self.finding) { "note, " } else { "" };
            let name = format!("{}, {told}{frames}", self.finding.title);
            WidgetInfo::selected(Role::Button, true, is_open, name)
        });
        let painter = ui.painter();
        if response.hovered() {
            painter.rect_filled(head_hit.shrink2(vec2(1.0, 1.5)), 0.0, t.hover);
        }
        let mark = mark_of(self.finding);
        let mark_at = pos2(head.left() + PAD, head.center().y - 9.0);
        marks::paint(painter, mark_at, 16.0, mark, t);
        let hint_text = match (self.done, is_open) {
            (Some(done), _) => done.to_owned(),
            (None, false) if count == 1 => String::new(),
            (None, _) => frames,
        };
        let mut hint = painter.layout_no_wrap(hint_text, theme::words(size::SMALL), t.ink2);
        let x = head.left() + left(cx);
        let right = head_hit.right() - if is_open { PAD } else { 8.0 };
        let said = title_for(ui, self.finding, right - x);
        let font = theme::words(size::FINDING);
        let whole = painter.layout_no_wrap(said.clone(), font, t.ink);
        if whole.size().x + hint.size().x + 8.0 > right - x {
            // The title says which frames; how many goes first.
            hint = painter.layout_no_wrap(String::new(), theme::words(size::SMALL), t.ink2);
        }
        let title = fitted(ui, &said, t.ink, right - x - hint.size().x - 2.0);
        let title_at = pos2(x, head.center().y - title.size().y / 2.0);
        let hint_x = if is_open {
            right - hint.size().x
        } else {
            x + title.size().x + 8.0
        };
        let hint_at = pos2(hint_x, head.center().y - hint.size().y / 2.0 + 0.5);
        painter.galley(title_at, title, t.ink);
        painter.galley(hint_at, hint, t.ink2);
        widgets::focus_ring(ui, head_hit.shrink(3.0), &response, t);
        if is_open {
            let x = head.left() + text_left(cx);
            let at = pos2(x, head.bottom() - 3.0);
            ui.painter().galley(at, Arc::clone(&self.evidence), t.ink2);
            let top = head.bottom() + self.evidence.size().y + 2.0;
            let row =
                Rect::from_min_max(pos2(x, top), pos2(rect.right() - PAD + 6.0, rect.bottom()));
            inside(ui, &format!("buttons {:?}", self.key), row, |ui| {
                ui.with_layout(
                    Layout::left_to_right(Align::Min).with_main_wrap(true),
                    |ui| {
                        ui.spacing_mut().item_spacing = Vec2::splat(6.0);
                        self.buttons(ui, cx, actions);
                    },
                );
            });
        }
        let enter = response.has_focus() && ui.input(|input| input.key_pressed(Key::Enter));
        let advised = self.finding.offers.iter().position(|offer| offer.advised);
        let taken = advised.filter(|_| enter && self.done.is_none());
        actions.extend(taken.map(|offer| Action::TakeOffer(self.key, offer)));
        let toggled = response.clicked() && taken.is_none();
        response.on_hover_ui(|ui| self.tip(ui, cx, is_open));
        toggled
    }

    /// All that speaks for it; folded, what stands in the card first.
    fn tip(&self, ui: &mut Ui, cx: Cx<'_>, is_open: bool) {
        if !is_open {
            widgets::text(ui, &self.finding.evidence, size::SMALL, cx.t.ink);
        }
        if self.finding.detail != self.finding.evidence {
            widgets::text(ui, &self.finding.detail, size::SMALL, cx.t.ink);
        }
        let click = if is_open {
            "Click to fold"
        } else {
            "Click to open"
        };
        widgets::text(ui, click, size::SMALL, cx.t.ink3);
    }

    /// The one button of a finding in a line; its width with room about it comes back.
    fn one_action(&self, ui: &mut Ui, cx: Cx<'_>, head: Rect, actions: &mut Vec<Action>) -> f32 {
        let advised = (self.finding.offers.iter().enumerate()).find(|(_, offer)| offer.advised);
        let label = match (self.done, advised) {
            (Some(_), _) => "Take back".to_owned(),
            (None, Some((_, offer))) => label_of(offer, cx),
            (None, None) => "Show".to_owned(),
        };
        let width = Button::new(&label).measure(ui).x;
        let rect = Rect::from_min_max(
            pos2(head.right() - PAD - width, head.top() + 3.0),
            pos2(head.right() - PAD, head.bottom() - 3.0),
        );
        inside(ui, &format!("one {:?}", self.key), rect.expand(4.0), |ui| {
            let ui = &mut ui.new_child(egui::UiBuilder::new().max_rect(rect));
            match (self.done, advised) {
                (Some(_), _) => self.take_back(ui, cx, actions),
                (None, Some((index, offer))) => self.offer(ui, cx, index, offer, actions),
                (None, None) => self.show_frames(ui, cx, "Show", actions),
            }
        });
        width + PAD + 8.0
    }

    fn buttons(&self, ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
        self.show_frames(ui, cx, &self.show_label(cx), actions);
        if self.done.is_some() {
            self.take_back(ui, cx, actions);
            return;
        }
        for (index, offer) in self.finding.offers.iter().enumerate() {
            self.offer(ui, cx, index, offer, actions);
        }
        let leave = Button::new("Leave")
            .name(self.named("Leave"))
            .show(ui, cx.t);
        let tip = "Keep things as they are and close this finding";
        if leave.on_hover_text(tip).clicked() {
            actions.push(Action::Leave(self.key));
        }
    }

    /// A button's name carries the finding it belongs to.
    fn named(&self, label: &str) -> String {
        format!("{label}, {}", self.finding.title)
    }

    fn show_frames(&self, ui: &mut Ui, cx: Cx<'_>, label: &str, actions: &mut Vec<Action>) {
        let show = Button::new(label).name(self.named(label)).show(ui, cx.t);
        if show.on_hover_text("Choose them in the ribbon").clicked() {
            actions.push(Action::ShowFinding(self.key));
        }
    }

    fn take_back(&self, ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
        let button = Button::new("Take back")
            .look(Look::Text)
            .name(self.named("Take back"));
        let response = button.show(ui, cx.t);
        if response
            .on_hover_text("Undo what this finding did")
            .clicked()
        {
            actions.push(Action::TakeBack(self.key));
        }
    }

    fn offer(
        &self,
        ui: &mut Ui,
        cx: Cx<'_>,
        index: usize,
        offer: &Offer,
        actions: &mut Vec<Action>,
    ) {
        let look = match (offer.advised, self.is_main) {
            (true, true) => Look::Main,
            (true, false) => Look::Advised,
            (false, _) => Look::Plain,
        };
        let label = label_of(offer, cx);
        let button = Button::new(&label).look(look).name(self.named(&label));
        let response = button.show(ui, cx.t);
        let clicked = response.clicked();
        if !offer.cost.is_empty() {
            response.on_hover_text(&offer.cost);
        }
        if clicked {
            actions.push(Action::TakeOffer(self.key, index));
        }
    }
}

/// Whether a finding gives its frames no verdict: the keep mark would say that they were judged
/// good because of it.
fn is_note(finding: &Finding) -> bool {
    finding.reason.info().news != News::Good && finding.verdict == Verdict::Keep
}

fn mark_of(finding: &Finding) -> MarkKind {
    match finding.reason {
        _ if finding.reason.info().news == News::Good => MarkKind::Good,
        Reason::Gap if is_note(finding) => MarkKind::Missing,
        _ if is_note(finding) => MarkKind::Note,
        _ => MarkKind::Verdict(finding.verdict),
    }
}

/// Where words begin, right of the mark.
const fn left(cx: Cx<'_>) -> f32 {
    if cx.fold.narrow {
        PAD + 24.0
    } else {
        PAD + 26.0
    }
}

/// Where evidence and buttons begin: in a narrow panel they need the whole width.
const fn text_left(cx: Cx<'_>) -> f32 {
    if cx.fold.narrow { PAD } else { left(cx) }
}

/// The title, or where it is too long the reason's short words in place of its long ones.
fn title_for(ui: &Ui, finding: &Finding, room: f32) -> String {
    let info = finding.reason.info();
    let font = theme::words(size::FINDING);
    let ink = egui::Color32::WHITE;
    let whole = (ui.painter()).layout_no_wrap(finding.title.clone(), font, ink);
    match finding.title.strip_prefix(info.title) {
        Some(rest) if whole.size().x > room => {
            let mut letters = info.label.chars();
            let first = letters.next().map(char::to_uppercase);
            let label: String = first.into_iter().flatten().chain(letters).collect();
            format!("{label}{rest}")
        }
        _ => finding.title.clone(),
    }
}

/// A title on one line, shortened with … when there is no room.
fn fitted(ui: &Ui, text: &str, ink: egui::Color32, room: f32) -> Arc<Galley> {
    let font = theme::words(size::FINDING);
    let mut job = egui::text::LayoutJob::simple_singleline(text.to_owned(), font, ink);
    job.wrap.max_width = room.max(40.0);
    job.wrap.max_rows = 1;
    job.wrap.break_anywhere = true;
    ui.painter().layout_job(job)
}

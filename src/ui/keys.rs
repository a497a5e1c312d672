//! From the keyboard to commands.

use egui::{Context, Event, Key as Pressed, Modifiers};

use crate::app::commands::{self, Chord, Key};
use crate::app::{Action, Model};

/// Actions for what was pressed. Letters do nothing while a text field has focus.
pub(super) fn actions(ctx: &Context, model: &Model) -> Vec<Action> {
    let lets_go = model.night.as_ref().is_some_and(|night| night.best_held)
        && ctx.input(|input| !input.focused || !input.key_down(Pressed::G));
    if lets_go {
        return vec![Action::HoldUpBest(false)];
    }
    if ctx.text_edit_focused() {
        return Vec::new();
    }
    // Space presses what has the focus.
    let has_focus = ctx.memory(|memory| memory.focused().is_some());
    let chords: Vec<Chord> = ctx.input(|input| input.events.iter().filter_map(chord).collect());
    (chords.into_iter())
        .filter(|chord| chord.key != Key::Space || !has_focus)
        .filter_map(commands::command_for)
        .filter_map(|command| (command.action)(model))
        .collect()
}

fn chord(event: &Event) -> Option<Chord> {
    match event {
        // Signs come as text: where they lie on the keyboard differs from country to country.
        Event::Text(text) => {
            let mut letters = text.chars();
            let sign = letters.next().filter(|c| "?+-=0−".contains(*c))?;
            let sign = if sign == '−' { '-' } else { sign };
            letters.next().is_none().then_some(Chord {
                key: Key::Char(sign),
                shift: false,
                ctrl: false,
            })
        }
        Event::Key {
            key,
            pressed: true,
            modifiers,
            ..
        } => of_key(*key, *modifiers),
        _ => None,
    }
}

fn of_key(pressed: Pressed, modifiers: Modifiers) -> Option<Chord> {
    if modifiers.alt {
        return None;
    }
    let key = match pressed {
        Pressed::ArrowLeft => Key::Left,
        Pressed::ArrowRight => Key::Right,
        Pressed::Home => Key::Home,
        Pressed::End => Key::End,
        Pressed::Escape => Key::Escape,
        Pressed::Num1 => Key::Char('1'),
        Pressed::Num2 => Key::Char('2'),
        Pressed::Num3 => Key::Char('3'),
        Pressed::Space => Key::Space,
        Pressed::Num4 => Key::Char('4'),
        // Without Ctrl they come as text.
        Pressed::Plus if modifiers.command => Key::Char('+'),
        Pressed::Equals if modifiers.command => Key::Char('='),
        Pressed::Minus if modifiers.command => Key::Char('-'),
        other => {
            let mut letters = other.name().chars();
            let letter = letters.next().filter(char::is_ascii_uppercase)?;
            if letters.next().is_some() {
                return None;
            }
            Key::Char(letter)
        }
    };
    Some(Chord {
        key,
        shift: modifiers.shift,
        ctrl: modifiers.command,
    })
}

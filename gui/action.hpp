// What a user can do. Mouse, keyboard and the tests' scripts all make the same actions, and App carries them out.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace coldtune::gui {

enum class Do {
    go_coil,
    go_wiring,
    go_standards,
    go_sweep,
    go_tuning,
    next_step,
    sweep_or_stop,  // the space bar: starts what the step is about, stops whatever runs
    stop,
    follow_or_stop,  // the resonance live, while something is moved
    listen_or_stop,  // levels of the inputs, nothing played
    undo,
    redo,
    set_field,       // key, text: of the coil or the bench
    set_name,        // text
    add_topload,     // text: toroid, sphere, disc
    remove_topload,  // number
    set_part,        // number: CoilPart, flag in text: "on" or "off"
    open_coil,       // text: path
    save_coil,       // text: path
    save_anyway,     // over what another program wrote
    read_theirs,
    set_device,    // text
    set_rate,      // number, hertz
    set_hookup,    // text: name
    set_standing,  // number: Standing
    set_output,    // number, channel from 0
    set_generator_input,
    set_coil_input,
    list_devices,
    check_wiring,
    show_cautions,
    acknowledge_cautions,
    close_dialog,
    take_standard,  // text: open, short, load
    drop_standard,  // text
    select_run,     // number: id
    toggle_run,     // number: id
    compare_run,    // number: id; the same again ends it
    delete_run,     // number: id
    undo_delete,    // of the run deleted last
    keep_again,     // number: id; a run that could not be kept
    note_run,       // number: id, text
    next_run,
    previous_run,
    toggle_budget,
    place_run,        // key: place, number: id
    place_file,       // key: place, text: path
    place_nothing,    // key: place
    tap_stands_here,  // key: "tap.N": the tank stands at this one now
    set_instead,      // text: toroid, sphere, disc; empty: no other top load
    measure_place,    // text: place; without: of the first step that is left
    tap_moved,        // into the description, and to the tank's hookup
    tuning_view,      // number: TuningView
    next_tuning_view,
    plot_pair,  // number: PlotPair
    next_plot_pair,
    plot_log_frequency,
    plot_log_value,
    plot_all,
    plot_near,  // around measured and calculated resonance
    zoom_in,
    zoom_out,
    pan_left,
    pan_right,
    cursor_a,  // number: hertz; without: at the measured resonance
    cursor_b,
    clear_cursors,
    save_svg,  // text: path, empty = a name of our own
    save_png,
    help,
    toggle_theme,
    text_larger,
    text_smaller,
    set_scale,  // number
    quit,
};

struct Action {
    Do what = Do::help;
    std::string key;
    std::string text;
    double number = 0;
    bool has_number = false;
};

// Whether a key by itself, without Ctrl, could be meant as text or as an edit of it.
bool could_be_typed(int key);

inline Action action(Do what) {
    return {what, {}, {}, 0, false};
}
inline Action action(Do what, double number) {
    return {what, {}, {}, number, true};
}
inline Action action(Do what, std::string text) {
    return {what, {}, std::move(text), 0, false};
}

// Keys by the codes GLFW uses (letters and digits are their ASCII capitals), so the window passes its own on.
namespace key {
inline constexpr int space = 32, comma = 44, minus = 45, period = 46, equal = 61;
inline constexpr int escape = 256, enter = 257, tab = 258, backspace = 259, insert = 260, del = 261;
inline constexpr int right = 262, left = 263, down = 264, up = 265, page_up = 266, page_down = 267, home = 268,
                     end = 269;
inline constexpr int f1 = 290, f2 = 291, f3 = 292, f4 = 293, f5 = 294, f6 = 295, f7 = 296;
inline constexpr int keypad_enter = 335, keypad_add = 334, keypad_subtract = 333;
}  // namespace key

struct Chord {
    int key = 0;
    bool ctrl = false;
    bool shift = false;
};

struct Command {
    Do what;
    std::string_view name;   // in scripts
    std::string_view title;  // in the help sheet; empty = not listed there
    std::string_view keys;   // as written there
    std::optional<Chord> chord;
    std::string_view group;
};

// Every action once, in the order of the help sheet.
std::span<const Command> commands();
const Command& command(Do what);
const Command* command_named(std::string_view name);

}  // namespace coldtune::gui

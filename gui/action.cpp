#include "gui/action.hpp"

#include <algorithm>
#include <array>

namespace coldtune::gui {
namespace {

constexpr std::array kCommands = {
    Command{Do::sweep_or_stop, "sweep_or_stop", "Start the sweep; stop whatever runs", "Space", Chord{key::space},
            "Measuring"},
    Command{Do::stop, "stop", "", "", std::nullopt, "Measuring"},
    Command{Do::follow_or_stop, "follow_or_stop", "Follow the resonance live", "F", Chord{'F'}, "Measuring"},
    Command{Do::listen_or_stop, "listen_or_stop", "Show the input levels live", "E", Chord{'E'}, "Measuring"},
    Command{Do::check_wiring, "check_wiring", "Check the wiring", "W", Chord{'W'}, "Measuring"},
    Command{Do::show_cautions, "show_cautions", "Read the cautions", "F6", Chord{key::f6}, "Measuring"},
    Command{Do::list_devices, "list_devices", "Look for interfaces again", "Ctrl D", Chord{'D', true}, "Measuring"},
    Command{Do::go_coil, "go_coil", "Describe the coil", "F2", Chord{key::f2}, "Steps"},
    Command{Do::go_wiring, "go_wiring", "Wire it", "F3", Chord{key::f3}, "Steps"},
    Command{Do::go_standards, "go_standards", "Standards", "F4", Chord{key::f4}, "Steps"},
    Command{Do::go_sweep, "go_sweep", "Sweep and compare", "F5", Chord{key::f5}, "Steps"},
    Command{Do::go_tuning, "go_tuning", "Set the primary", "F7", Chord{key::f7}, "Steps"},
    Command{Do::next_step, "next_step", "Next step", "Page Down", Chord{key::page_down}, "Steps"},
    Command{Do::undo, "undo", "Undo a change of the coil; beside the runs, a deletion", "Ctrl Z", Chord{'Z', true},
            "Coil"},
    Command{Do::redo, "redo", "Redo it", "Ctrl Y", Chord{'Y', true}, "Coil"},
    Command{Do::open_coil, "open_coil", "Open a coil description", "Ctrl O", Chord{'O', true}, "Coil"},
    Command{Do::save_coil, "save_coil", "Save the coil description", "Ctrl S", Chord{'S', true}, "Coil"},
    Command{Do::next_plot_pair, "next_plot_pair", "Next pair of quantities", "Q", Chord{'Q'}, "Plot"},
    Command{Do::plot_log_frequency, "plot_log_frequency", "Frequency axis linear or logarithmic", "L", Chord{'L'},
            "Plot"},
    Command{Do::plot_log_value, "plot_log_value", "Value axis linear or logarithmic", "K", Chord{'K'}, "Plot"},
    Command{Do::plot_near, "plot_near", "Show the resonance", "N", Chord{'N'}, "Plot"},
    Command{Do::plot_all, "plot_all", "Show everything", "Home", Chord{key::home}, "Plot"},
    Command{Do::zoom_in, "zoom_in", "Zoom in", "+", Chord{key::equal}, "Plot"},
    Command{Do::zoom_out, "zoom_out", "Zoom out", "-", Chord{key::minus}, "Plot"},
    Command{Do::pan_left, "pan_left", "Move left", ",", Chord{key::comma}, "Plot"},
    Command{Do::pan_right, "pan_right", "Move right", ".", Chord{key::period}, "Plot"},
    Command{Do::cursor_a, "cursor_a", "Cursor A on the measured resonance", "A", Chord{'A'}, "Plot"},
    Command{Do::cursor_b, "cursor_b", "Cursor B on the calculated resonance", "B", Chord{'B'}, "Plot"},
    Command{Do::clear_cursors, "clear_cursors", "Take the cursors away", "X", Chord{'X'}, "Plot"},
    Command{Do::save_svg, "save_svg", "Save the plot as SVG", "Ctrl G", Chord{'G', true}, "Plot"},
    Command{Do::save_png, "save_png", "Save the plot as PNG", "Ctrl P", Chord{'P', true}, "Plot"},
    Command{Do::next_run, "next_run", "Next run", "J", Chord{'J'}, "Runs"},
    Command{Do::previous_run, "previous_run", "Previous run", "I", Chord{'I'}, "Runs"},
    Command{Do::toggle_run, "toggle_run", "Show or hide the run's curves", "H", Chord{'H'}, "Runs"},
    Command{Do::compare_run, "compare_run", "Compare with the run before", "C", Chord{'C'}, "Runs"},
    Command{Do::toggle_budget, "toggle_budget", "Where the uncertainty comes from", "U", Chord{'U'}, "Runs"},
    Command{Do::delete_run, "delete_run", "Delete the run", "Delete", Chord{key::del}, "Runs"},
    Command{Do::measure_place, "measure_place", "Wire for the measurement that comes next", "M", Chord{'M'}, "Tuning"},
    Command{Do::tap_moved, "tap_moved", "The tap is moved as advised", "G", Chord{'G'}, "Tuning"},
    Command{Do::next_tuning_view, "next_tuning_view", "Tap, top load, spark gap", "V", Chord{'V'}, "Tuning"},
    Command{Do::text_larger, "text_larger", "Larger text", "Ctrl +", Chord{key::equal, true}, "Window"},
    Command{Do::text_smaller, "text_smaller", "Smaller text", "Ctrl -", Chord{key::minus, true}, "Window"},
    Command{Do::toggle_theme, "toggle_theme", "Light or dark", "Ctrl T", Chord{'T', true}, "Window"},
    Command{Do::help, "help", "This sheet", "F1", Chord{key::f1}, "Window"},
    Command{Do::close_dialog, "close_dialog", "Close what is open", "Escape", Chord{key::escape}, "Window"},
    Command{Do::quit, "quit", "Quit", "Ctrl Q", Chord{'Q', true}, "Window"},
    Command{Do::set_field, "set_field", "", "", std::nullopt, ""},
    Command{Do::set_name, "set_name", "", "", std::nullopt, ""},
    Command{Do::add_topload, "add_topload", "", "", std::nullopt, ""},
    Command{Do::undo_delete, "undo_delete", "", "", std::nullopt, ""},
    Command{Do::keep_again, "keep_again", "", "", std::nullopt, ""},
    Command{Do::save_anyway, "save_anyway", "", "", std::nullopt, ""},
    Command{Do::read_theirs, "read_theirs", "", "", std::nullopt, ""},
    Command{Do::remove_topload, "remove_topload", "", "", std::nullopt, ""},
    Command{Do::set_part, "set_part", "", "", std::nullopt, ""},
    Command{Do::set_device, "set_device", "", "", std::nullopt, ""},
    Command{Do::set_rate, "set_rate", "", "", std::nullopt, ""},
    Command{Do::set_hookup, "set_hookup", "", "", std::nullopt, ""},
    Command{Do::set_output, "set_output", "", "", std::nullopt, ""},
    Command{Do::set_generator_input, "set_generator_input", "", "", std::nullopt, ""},
    Command{Do::set_coil_input, "set_coil_input", "", "", std::nullopt, ""},
    Command{Do::acknowledge_cautions, "acknowledge_cautions", "", "", std::nullopt, ""},
    Command{Do::take_standard, "take_standard", "", "", std::nullopt, ""},
    Command{Do::drop_standard, "drop_standard", "", "", std::nullopt, ""},
    Command{Do::select_run, "select_run", "", "", std::nullopt, ""},
    Command{Do::note_run, "note_run", "", "", std::nullopt, ""},
    Command{Do::plot_pair, "plot_pair", "", "", std::nullopt, ""},
    Command{Do::set_scale, "set_scale", "", "", std::nullopt, ""},
    Command{Do::set_standing, "set_standing", "", "", std::nullopt, ""},
    Command{Do::place_run, "place_run", "", "", std::nullopt, ""},
    Command{Do::place_file, "place_file", "", "", std::nullopt, ""},
    Command{Do::place_nothing, "place_nothing", "", "", std::nullopt, ""},
    Command{Do::tap_stands_here, "tap_stands_here", "", "", std::nullopt, ""},
    Command{Do::set_instead, "set_instead", "", "", std::nullopt, ""},
    Command{Do::tuning_view, "tuning_view", "", "", std::nullopt, ""},
};

}  // namespace

bool could_be_typed(int key) {
    return key < key::escape || key == key::backspace || key == key::del || key == key::home || key == key::end;
}

std::span<const Command> commands() {
    return kCommands;
}

const Command& command(Do what) {
    return *std::find_if(kCommands.begin(), kCommands.end(), [&](const Command& c) { return c.what == what; });
}

const Command* command_named(std::string_view name) {
    const auto found =
        std::find_if(kCommands.begin(), kCommands.end(), [&](const Command& c) { return c.name == name; });
    return found == kCommands.end() ? nullptr : &*found;
}

}  // namespace coldtune::gui

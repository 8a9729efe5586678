/* Pan Lids: hit the left or the right lid when a note reaches the line. A whole game, with everything that its log
 * needs. Presses are logged in the buttons' interrupt, at their own moment, also those that hit nothing. */
#include "game_log.h"
#include "lantern.h"
#include "log_port.h"

enum { NO_NOTE = 0, STEPS = 64, STEP_MS = 400, SEEN_MS = 1000, LEAD_MS = 2000, WAITING = 8, PASS_HITS = 20 };
enum { FINISHED = 0, MISSED = 0, HIT = 1 };

struct press {
    uint32_t at;
    uint8_t lid;
};

PLAYLOG_DEFINE(schema);
struct playlog play;
static uint8_t ring[512];
static int32_t tunables[LOG_TUNABLE_COUNT] = LOG_VALUES;

/* Filled by the interrupt, emptied by the game. */
static volatile struct press presses[WAITING];
static volatile uint8_t pressed;
static uint8_t judged_presses;

/* The song: lid + 1 at each step, over and over. */
static const uint8_t song[16] = {1, 0, 2, 0, 1, 1, 2, 0, 2, 0, 1, 2, 1, 0, 2, 2};
static uint32_t song_start;
static uint8_t shown, passed, hits;
static bool done[STEPS];

static void button_down(uint8_t button)
{
    const uint8_t lid = button == BUTTON_LEFT ? 0 : 1;

    log_press(&play, lid);
    presses[pressed % WAITING].at = lantern_ms();
    presses[pressed % WAITING].lid = lid;
    pressed++;
}

static void end_frame(void)
{
    playlog_poll(&play);
    log_port_send();
    lantern_show();
}

static uint8_t note(uint8_t step) { return song[step % sizeof song]; }
static uint32_t due(uint8_t step) { return song_start + (uint32_t)step * STEP_MS; }

/* Draws the notes, and logs each once, when it comes into sight. */
static void show_notes(void)
{
    const uint32_t now = lantern_ms();
    uint8_t step;

    for (; shown < STEPS && (int32_t)(due(shown) - now) <= SEEN_MS; shown++) {
        if (note(shown) != NO_NOTE) {
            log_note(&play, (uint8_t)(note(shown) - 1), (uint16_t)(due(shown) - now));
        }
    }
    for (step = passed; step < shown; step++) {
        const int32_t left = (int32_t)(due(step) - now);

        if (note(step) != NO_NOTE && !done[step] && left >= 0) {
            lantern_box((uint8_t)(note(step) * 50), (uint8_t)(110 - left / 10), 20, 4, 3);
        }
    }
}

/* Gives a press to the first open note of its lid in whose window it lies. */
static void judge(uint32_t at, uint8_t lid)
{
    uint8_t step;

    for (step = passed; step < shown; step++) {
        const int32_t error = (int32_t)(at - due(step)) - tunables[LOG_TUNABLE_offset];

        if (note(step) == lid + 1 && !done[step] && error >= -tunables[LOG_TUNABLE_early]
            && error <= tunables[LOG_TUNABLE_late]) {
            done[step] = true;
            hits++;
            log_judged(&play, HIT, (int16_t)error, lid);
            return;
        }
    }
}

/* Notes whose window is over. */
static void pass_notes(void)
{
    const int32_t late = tunables[LOG_TUNABLE_late] + tunables[LOG_TUNABLE_offset];

    for (; passed < shown && (int32_t)(lantern_ms() - due(passed)) > late; passed++) {
        if (note(passed) != NO_NOTE && !done[passed]) {
            log_judged(&play, MISSED, PLAYLOG_NONE_I16, (uint8_t)(note(passed) - 1));
        }
    }
}

static void play_song(void)
{
    uint8_t step;

    song_start = lantern_ms() + LEAD_MS;
    shown = passed = hits = 0;
    judged_presses = pressed;
    for (step = 0; step < STEPS; step++) {
        done[step] = false;
    }
    while (passed < STEPS) {
        show_notes();
        for (; judged_presses != pressed; judged_presses++) {
            judge(presses[judged_presses % WAITING].at, presses[judged_presses % WAITING].lid);
        }
        pass_notes();
        lantern_box(0, 110, 160, 1, 1);
        end_frame();
    }
}

int main(void)
{
    uint8_t player = 1;

    lantern_start();
    (void)playlog_init(&play, &schema, tunables, ring, sizeof ring, &log_port, lantern_power_ups());
    lantern_on_button(button_down);
    for (;;) {
        while ((lantern_buttons() & BUTTON_A) == 0) { /* the title: A starts, right is for the next player's tag */
            const uint8_t before = lantern_buttons();

            end_frame();
            if ((lantern_buttons() & ~before & BUTTON_RIGHT) != 0) {
                player++;
            }
        }
        log_begin(&play, player);
        log_song(&play, 1, 1);
        play_song();
        log_song_over(&play, hits >= PASS_HITS);
        log_over(&play, FINISHED, hits);
    }
}

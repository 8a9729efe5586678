/* A game for the emulated board: what it logs follows from the time alone, so that the test knows every event.
 *
 * The main loop logs and polls at 50 frames a second; SysTick logs the buttons from its interrupt. After RUNS runs it
 * ends. BY_POLLING sends from the main loop instead of by interrupt; FIRST_TICK is where the clock begins.
 */
#include "game_log.h"

#include "board.h"

#ifndef FIRST_TICK
#define FIRST_TICK 0u
#endif
#ifndef RUNS
#define RUNS 4
#endif
enum { FRAME_MS = 20, FRAMES_PER_RUN = 100 };

PLAYLOG_DEFINE(schema);

static uint32_t now(void) { return board_now() + FIRST_TICK; }

#ifdef BY_POLLING
static const struct playlog_port port = {now, board_lock, board_unlock, NULL, NULL};
#else
static const struct playlog_port port = {now, board_lock, board_unlock, board_send, board_enable_interrupt};
#endif

static struct playlog play;
static uint8_t ring[512];
static int32_t tunables[LOG_TUNABLE_COUNT] = LOG_VALUES;
static volatile bool playing;

void game_transmitter_empty(void) { playlog_on_transmitter_empty(&play); }

/* A button goes down every 7 ms, and is logged with the time that has passed since. */
void game_tick(uint32_t ticks)
{
    if (playing && ticks % 7u == 0u) {
        log_button(&play, (uint8_t)(ticks % 3u), (uint8_t)(ticks % 5u));
    }
}

static void idle(void)
{
#ifdef BY_POLLING
    const int byte = board_can_take_a_byte() ? playlog_next_byte(&play) : -1;
    if (byte >= 0) {
        board_send((uint8_t)byte);
    }
#endif
}

static void wait_for(uint32_t ticks) { board_wait(ticks, idle); }

int main(void)
{
    uint32_t frame = 0;
    uint32_t run;

    board_start();
    if (!playlog_init(&play, &schema, tunables, ring, sizeof ring, &port, 42u)) {
        return 1;
    }
    for (frame = 1; frame <= 50u; frame++) { /* a title screen: the dictionary goes out */
        wait_for(frame * FRAME_MS);
        playlog_poll(&play);
    }
    for (run = 1; run <= RUNS; run++) {
        const uint32_t first = frame;

        wait_for(frame * FRAME_MS);
        log_begin(&play, (uint8_t)run);
        playing = true;
        for (; frame < first + FRAMES_PER_RUN; frame++) {
            wait_for(frame * FRAME_MS);
            log_at(&play, (uint8_t)(frame * 3u % 255u), (int16_t)(-(int32_t)frame));
            if (frame % 25u == 0u) {
                log_fell(&play, frame * frame);
            }
            if (frame % 50u == 0u) {
                tunables[LOG_TUNABLE_speed] = (int32_t)frame;
                playlog_settings_changed(&play);
            }
            playlog_poll(&play);
        }
        wait_for(frame * FRAME_MS);
        playing = false;
        log_over(&play, (uint8_t)run);
        frame++;
    }
    playlog_flush(&play);
    wait_for((frame + 20u) * FRAME_MS);
    return 0;
}

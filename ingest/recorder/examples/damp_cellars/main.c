/* Damp Cellars: carry the flame to the door on the right, through three cellars. What falls from the ceiling puts it
 * out. A whole game, with everything that its log needs. */
#include "game_log.h"
#include "lantern.h"
#include "log_port.h"

enum { CELLARS = 3, FLOOR = 120, DOOR = 150, SIZE = 6, DRIPS = 6, PLAYERS = 40, SAMPLE_FRAMES = 8 };
enum { FINISHED = 0, GAME_OVER = 1 };

struct drip {
    bool falling, gush;
    uint8_t x, y;
    uint32_t since;
};

PLAYLOG_DEFINE(schema);
struct playlog play;
static uint8_t ring[512];
static int32_t tunables[LOG_TUNABLE_COUNT] = LOG_VALUES;

static struct drip drips[DRIPS];
static uint32_t next_drip;
static uint16_t noise;
static uint8_t flame, lives, player = 1;

static uint8_t random_below(uint8_t most)
{
    noise = (uint16_t)(noise * 25173u + 13849u);
    return (uint8_t)((noise >> 8) % most);
}

/* Ends a frame: what has to happen once in each. */
static void end_frame(void)
{
    playlog_poll(&play);
    log_port_send();
    lantern_show();
}

static void light(void)
{
    uint8_t n;

    flame = 0;
    for (n = 0; n < DRIPS; n++) {
        drips[n].falling = false;
    }
    next_drip = lantern_ms() + (uint32_t)tunables[LOG_TUNABLE_drip_ms];
    log_lit(&play, lives);
}

/* Lets a drip go when it is time, from above the flame or from anywhere. */
static void let_go(bool gush)
{
    const uint32_t now = lantern_ms();
    uint8_t n;

    if ((int32_t)(now - next_drip) < 0) {
        return;
    }
    next_drip += (uint32_t)tunables[LOG_TUNABLE_drip_ms];
    for (n = 0; n < DRIPS; n++) {
        if (!drips[n].falling) {
            const bool aimed = random_below(100) < tunables[LOG_TUNABLE_aimed];

            drips[n].x = aimed ? flame : random_below(DOOR);
            drips[n].y = 0;
            drips[n].gush = gush;
            drips[n].since = now;
            drips[n].falling = true;
            log_drip(&play, drips[n].x, 0, aimed);
            return;
        }
    }
}

/* Moves the drips; the one that fell on the flame, or NULL. */
static const struct drip *fall(void)
{
    const struct drip *on_flame = NULL;
    uint8_t n;

    for (n = 0; n < DRIPS; n++) {
        struct drip *const drip = &drips[n];

        if (!drip->falling) {
            continue;
        }
        drip->y = (uint8_t)(drip->y + (drip->gush ? 5 : 3));
        lantern_box(drip->x, drip->y, 2, 4, 2);
        if (drip->y >= FLOOR) {
            drip->falling = false;
            if (drip->x + 2 > flame && drip->x < flame + SIZE) {
                on_flame = drip;
            }
        }
    }
    return on_flame;
}

/* One cellar; whether the player got through. */
static bool play_cellar(uint8_t number)
{
    uint8_t frames = 0;

    log_cellar(&play, number, lives);
    light();
    while (flame < DOOR) {
        const uint8_t buttons = lantern_buttons();
        const struct drip *drip;

        if ((buttons & BUTTON_RIGHT) != 0) {
            flame++;
        } else if ((buttons & BUTTON_LEFT) != 0 && flame > 0) {
            flame--;
        }
        let_go(number == CELLARS);
        drip = fall();
        if (drip != NULL) {
            lives--;
            log_out(&play, flame, FLOOR, drip->gush ? 2 : 1, lives, (uint16_t)(lantern_ms() - drip->since));
            if (lives == 0) {
                return false;
            }
            light();
        }
        frames++;
        if (frames % SAMPLE_FRAMES == 0) {
            log_at(&play, flame, FLOOR);
        }
        lantern_box(flame, FLOOR, SIZE, SIZE, 3);
        end_frame();
    }
    return true;
}

/* The title: left and right choose the number on the player's tag, A starts. */
static void title(void)
{
    uint8_t before = BUTTON_A;

    for (;;) {
        const uint8_t now = lantern_buttons();
        const uint8_t pressed = (uint8_t)(now & ~before);

        before = now;
        if ((pressed & BUTTON_RIGHT) != 0 && player < PLAYERS) {
            player++;
        } else if ((pressed & BUTTON_LEFT) != 0 && player > 1) {
            player--;
        }
        lantern_box(0, 0, (uint8_t)(player * 4), 4, 1);
        if (playlog_dropped(&play) != 0) {
            lantern_box(150, 0, 10, 10, 4); /* while the game is made: events are missing from the log */
        }
        end_frame();
        if ((pressed & BUTTON_A) != 0) {
            return;
        }
    }
}

int main(void)
{
    uint8_t number;

    lantern_start();
    (void)playlog_init(&play, &schema, tunables, ring, sizeof ring, &log_port, lantern_power_ups());
    for (;;) {
        bool through = true;

        title();
        noise = (uint16_t)lantern_ms();
        lives = (uint8_t)tunables[LOG_TUNABLE_lives];
        log_begin(&play, player, noise);
        for (number = 1; through && number <= CELLARS; number++) {
            through = play_cellar(number);
            log_leave(&play, through);
        }
        log_over(&play, through ? FINISHED : GAME_OVER, (uint8_t)(number - 1 - !through));
    }
}

/* Where a further photo could be taken from: a ring of directions about straight ahead of the sheet, the phone held as for the
 * first photo, at the distance of the photos so far if pins and sheets then fill the picture. */
#include "adjust/model.h"
#include "base/linear.h"
#include "gauge/plan.h"
#include "pinspan/target.h"

#include <math.h>
#include <string.h>

static const double tilt_deg = 25;       /* as the kit asks for: 20 to 30 (docs/design.md) */
static const double margin_share = 0.06; /* of the picture's width or height, kept clear on each side: nobody aims exactly */
static const double farther_most = 1.5;  /* against the nearest distance from which all is in the picture */
static const double near_mm = 250; /* nearer a phone's main lens may not focus, unless it did so already; common practice, no source */
static const double far_mm = 10000, near_step = 0.96;
enum { RIM_POINTS = 12, POINTS_MAX = PS_ADJUST_PIECES_MAX * PS_PIECE_CORNERS_MAX + PS_ADJUST_RIMS_MAX * RIM_POINTS };

/* In units of right and up, as the first photo shows it; plain sides first, which are easier to say and to find. */
static const struct {
    double right, up;
    const char *word;
} side[PS_GAUGE_WAYS] = {{-1, 0, "left"},        {1, 0, "right"},        {0, 1, "above"},
                         {0, -1, "below"},       {-1, 1, "upper left"},  {1, 1, "upper right"},
                         {-1, -1, "lower left"}, {1, -1, "lower right"}, {0, 0, "straight ahead"}};

typedef struct subject {
    double point[POINTS_MAX][3], middle[3];
    int count;
} subject;

static void add_point(subject *o, const double X[3]) {
    memcpy(o->point[o->count++], X, 3 * sizeof *X);
}

/* Corners of the pieces and points of the rims: what must be in the picture. */
static void gather_subject(const ps_adjust_solution *s, subject *o) {
    const ps_adjust_problem *q = &s->model.problem;
    double low[3], high[3];
    o->count = 0;
    for (int i = 0; i < q->piece_count; i++) {
        const ps_piece *piece = ps_kit_piece(q->piece[i].piece);
        ps_pose pose;
        ps_adjust_piece_pose(s, i, &pose);
        for (int c = 0; c < piece->corner_count; c++) {
            double X[3], local[3] = {0};
            ps_piece_corner(piece, c, local);
            ps_pose_apply(&pose, local, X);
            add_point(o, X);
        }
    }
    for (int r = 0; r < q->rim_count; r++) {
        ps_circle3 circle;
        ps_adjust_circle(s, r, &circle, NULL);
        for (int i = 0; i < RIM_POINTS; i++) {
            double X[3];
            ps_circle3_point(&circle, 2 * PS_PI * i / RIM_POINTS, X);
            add_point(o, X);
        }
    }
    for (int k = 0; k < 3; k++) {
        low[k] = high[k] = o->point[0][k];
        for (int i = 1; i < o->count; i++) low[k] = fmin(low[k], o->point[i][k]), high[k] = fmax(high[k], o->point[i][k]);
        o->middle[k] = 0.5 * (low[k] + high[k]);
    }
}

/* Ways to the right and up in the first photo, along the world plane. False where it looks along that plane. */
static bool photo_axes(const ps_view *view, const double at[3], double right[3], double up[3]) {
    double px[3][2], X[3];
    for (int i = 0; i < 3; i++) {
        for (int k = 0; k < 3; k++) X[k] = at[k] + (i == k + 1 ? 1 : 0);
        if (!ps_view_project(view, X, px[i])) return false;
    }
    double a = px[1][0] - px[0][0], b = px[2][0] - px[0][0], c = px[1][1] - px[0][1], d = px[2][1] - px[0][1], det = a * d - b * c;
    if (!(fabs(det) > 0)) return false;
    /* Solutions of (a b; c d) (x, y) = (1, 0) and (0, -1). */
    right[0] = d / det, right[1] = -c / det, right[2] = 0;
    up[0] = b / det, up[1] = -a / det, up[2] = 0;
    return ps_unit3(right) && ps_unit3(up);
}

/* A camera at `from` looking at `at`, turned about its axis as the camera of `like` is. */
static bool look(const double from[3], const double at[3], const ps_pose *like, ps_pose *pose) {
    double x[3], y[3], z[3];
    for (int k = 0; k < 3; k++) z[k] = at[k] - from[k];
    if (!ps_unit3(z)) return false;
    double along = ps_dot3(like->R, z);
    for (int k = 0; k < 3; k++) x[k] = like->R[k] - along * z[k];
    if (!ps_unit3(x)) return false;
    ps_cross3(z, x, y);
    for (int k = 0; k < 3; k++) pose->R[k] = x[k], pose->R[3 + k] = y[k], pose->R[6 + k] = z[k];
    for (int r = 0; r < 3; r++) pose->t[r] = -ps_dot3(pose->R + 3 * r, from);
    return true;
}

/* How much of the picture the subject takes up along its tighter side; over 1 where it does not fit. */
static double fills(const ps_view *view, const subject *o) {
    bool turned = view->orientation >= 5;
    double size[2] = {turned ? view->stored_height : view->stored_width, turned ? view->stored_width : view->stored_height}, most = 0;
    for (int i = 0; i < o->count; i++) {
        double px[2];
        if (!ps_view_project(view, o->point[i], px)) return INFINITY;
        for (int k = 0; k < 2; k++) most = fmax(most, fabs(2 * px[k] - (size[k] - 1)) / size[k]);
    }
    return most;
}

static double median_distance(const ps_adjust_solution *s, const double at[3]) {
    double d[PS_ADJUST_PHOTOS_MAX];
    int n = s->model.problem.photo_count;
    for (int i = 0; i < n; i++) {
        ps_view view;
        double x_cam[3];
        ps_adjust_view(s, i, &view);
        ps_pose_apply(&view.pose, at, x_cam);
        double now = ps_norm3(x_cam);
        int k = i;
        for (; k > 0 && d[k - 1] > now; k--) d[k] = d[k - 1];
        d[k] = now;
    }
    return d[n / 2];
}

/* Sets the photo's pose at a distance and says how much the subject then fills. */
static double stand(const ps_predictor *p, const subject *o, const double away[3], const ps_pose *like, double distance,
                    ps_gauge_way *way) {
    double from[3];
    for (int k = 0; k < 3; k++) from[k] = o->middle[k] + distance * away[k];
    if (!look(from, o->middle, like, &way->photo.start)) return INFINITY;
    ps_predict_view(p, &way->photo, &way->told.view);
    way->told.distance_mm = distance;
    way->told.fills = fills(&way->told.view, o);
    return way->told.fills;
}

static void held_middle(const ps_adjust_solution *s, double middle[3]) {
    const ps_piece *piece = ps_kit_piece(s->model.problem.piece[s->model.problem.held_piece].piece);
    middle[0] = 0.5 * piece->columns * piece->square_mm, middle[1] = 0.5 * piece->rows * piece->square_mm, middle[2] = 0;
}

/* From the middle of the held piece to the camera. */
static void direction_of(const ps_adjust_solution *s, const ps_view *view, double direction[3]) {
    double middle[3];
    ps_pose back;
    held_middle(s, middle);
    ps_pose_invert(&view->pose, &back);
    for (int k = 0; k < 3; k++) direction[k] = back.t[k] - middle[k];
    ps_unit3(direction);
}

void ps_gauge_ways(const ps_predictor *p, ps_gauge_way way[PS_GAUGE_WAYS]) {
    const ps_adjust_solution *s = ps_predict_solution(p);
    const ps_adjust_photo *first = &s->model.problem.photo[0];
    const double keep = 1 - 2 * margin_share, tilt = tilt_deg * PS_PI / 180;
    double right[3], up[3];
    subject o;
    ps_view view;
    memset(way, 0, PS_GAUGE_WAYS * sizeof *way);
    gather_subject(s, &o);
    ps_adjust_view(s, 0, &view);
    if (!photo_axes(&view, o.middle, right, up)) return;
    double usual = median_distance(s, o.middle);
    for (int i = 0; i < PS_GAUGE_WAYS; i++) {
        double away[3] = {0, 0, -1}, aside[3], distance = far_mm;
        for (int k = 0; k < 3; k++) aside[k] = side[i].right * right[k] + side[i].up * up[k];
        way[i].told.from = side[i].word;
        if (ps_unit3(aside)) {
            for (int k = 0; k < 3; k++) away[k] = sin(tilt) * aside[k] + cos(tilt) * away[k];
            way[i].told.tilt_deg = tilt_deg;
        }
        way[i].photo = *first;
        if (stand(p, &o, away, &view.pose, distance, &way[i]) > keep) continue;
        while (distance * near_step > fmin(usual, near_mm) && stand(p, &o, away, &view.pose, distance * near_step, &way[i]) <= keep)
            distance *= near_step;
        distance = fmax(distance, fmin(usual, fmax(farther_most * distance, near_mm)));
        way[i].possible = stand(p, &o, away, &view.pose, distance, &way[i]) <= keep;
        direction_of(s, &way[i].told.view, way[i].direction);
    }
}

double ps_gauge_spread_deg(const ps_adjust_solution *s, const double (*direction)[3], int count) {
    double all[PS_ADJUST_PHOTOS_MAX + PS_PLAN_PHOTOS_MAX][3], most = 0;
    int n = 0;
    for (; n < s->model.problem.photo_count; n++) {
        ps_view view;
        ps_adjust_view(s, n, &view);
        direction_of(s, &view, all[n]);
    }
    for (int i = 0; i < count && i < PS_PLAN_PHOTOS_MAX; i++) memcpy(all[n++], direction[i], sizeof all[0]);
    for (int a = 0; a < n; a++)
        for (int b = a + 1; b < n; b++) most = fmax(most, acos(fmax(-1, fmin(1, ps_dot3(all[a], all[b])))));
    return most * 180 / PS_PI;
}

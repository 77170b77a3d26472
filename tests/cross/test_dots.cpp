// Photographs of printed dots, measured as rims are: our trace finds their edges, our adjustment gives diameters, distances
// and bands. OpenCV gives no more than the order of the dots. Sources: dots/SOURCE.txt.
//
// A lattice of dots is given to the adjustment as the corners of a plate printed at another scale; dots outside that part
// are the rims of `pins` that stand out by nothing.
#include <algorithm>
#include <cmath>
#include <csetjmp>
#include <cstdarg>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

// Before cmocka, whose macro fail() streams do not survive.
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

extern "C" {
#include "check.h"
}
#include "../adjust/calibrate.h"
#include "pinspan/adjust.h"
#include "pinspan/rim.h"
#include "pinspan/target.h"

namespace {

// Printed values are nominal: half a percent is allowed (two standard deviations of the print scale).
const double nominal_rel = 0.005;
// The trace wants circles of at least 8 px; the dots have 6 to 9 in these small photos, so that they are enlarged first.
const int enlarge = 3;
// As src/gauge/rims.c has it: points 4 px apart share blur and noise; nearer ones here, after enlarging, more so.
const double neighbours_factor = 2;
// Centres of ellipses of some 40 points of 0.25 px, which are not independent.
const double centre_px = 0.1;

struct Dot {
    bool found = false;
    cv::Point2d centre;            // of the ellipse
    double semi_major = 0;         // px
    std::vector<cv::Point2d> edge; // of the photo, px
    double sigma_px = 0;
};

cv::Mat photo(const std::string &name) {
    cv::Mat grey = cv::imread(PS_TEST_DATA "/dots/" + name, cv::IMREAD_GRAYSCALE);
    assert_false(grey.empty());
    return grey;
}

double enlarged(double px) {
    return (px + 0.5) * enlarge - 0.5;
}

double reduced(double px) {
    return (px + 0.5) / enlarge - 0.5;
}

// The dot of the plane z = 0 about (x, y) mm traced by our rim trace through a view that predicts it to a pixel or two.
Dot trace(const cv::Mat &large, ps_view view, double x, double y, double radius_mm, double sigma_radius_mm) {
    view.lens.f_px *= enlarge;
    view.lens.cx = enlarged(view.lens.cx), view.lens.cy = enlarged(view.lens.cy);
    view.stored_width = large.cols, view.stored_height = large.rows;
    ps_luma luma = {large.cols, large.rows, large.step, large.data};
    ps_pin_models model = {};
    model.count = 1;
    ps_pin_model &pin = model.pin[0];
    pin.axis_point_mm[0] = x, pin.axis_point_mm[1] = y, pin.axis_direction[2] = -1;
    pin.rim_count = 1;
    pin.rim[0] = {PS_EDGE_OTHER, PS_EAR_NEAR, 0, radius_mm, 0.2, sigma_radius_mm, 0};
    ps_rim_traces traces = {};
    Dot dot;
    if (ps_rim_trace_photo(nullptr, &luma, &view, &model, &traces) != PS_OK) return dot;
    const ps_rim_trace &t = traces.trace[0];
    dot.found = t.arc > 0.8;
    dot.centre = {reduced(t.ellipse.cx), reduced(t.ellipse.cy)};
    dot.semi_major = t.ellipse.a / enlarge;
    for (int i = 0; i < t.point_count; i++) {
        dot.edge.emplace_back(reduced(t.point[i].x_px), reduced(t.point[i].y_px));
        dot.sigma_px = t.point[i].sigma_px / enlarge;
    }
    ps_rim_traces_clear(&traces);
    return dot;
}

// Where the dot's own centre is seen: the ellipse's is beside it by what perspective shifts.
cv::Point2d true_centre(const ps_view &view, const Dot &dot, double x, double y, double radius_mm) {
    ps_circle3 circle = {{x, y, 0}, {0, 0, -1}, radius_mm};
    ps_ellipse e;
    double at[2];
    assert_true(ps_view_ellipse(&view, &circle, &e) && ps_view_project(&view, circle.centre, at));
    return dot.centre + cv::Point2d(at[0] - e.cx, at[1] - e.cy);
}

// The problem as src/gauge sets it up, with storage that grows.
struct Problem {
    ps_adjust_problem p = {};
    std::vector<ps_adjust_photo> photos;
    std::vector<ps_adjust_piece> pieces;
    std::vector<ps_adjust_corner> corners;
    std::vector<ps_adjust_pin> pins;
    std::vector<ps_adjust_rim> rims;
    std::vector<ps_adjust_edge> edges;
    ps_adjust_group group = {};

    Problem(const ps_lens &lens, int width, double sigma_focal, double scale) {
        double rc2 = std::pow(0.625 * width / lens.f_px, 2);
        group.start = lens;
        group.sigma_focal_rel = sigma_focal;
        group.sigma_centre_px = 0.01 * width;
        group.sigma_k1 = 0.07 / rc2, group.sigma_k2 = 0.1 / (rc2 * rc2), group.sigma_k3 = 0.03 / (rc2 * rc2 * rc2);
        group.sigma_p = 0.001;
        group.sigma_photo_focal_rel = 0.005;
        group.sigma_photo_centre_px = 10.0 * width / 4032;
        p.scale = {scale, scale, nominal_rel / 2, nominal_rel / 2, 0, 0.0003};
        p.sigma_parallel = 0.2 * CV_PI / 180;
        p.sigma_shift_common_px = p.sigma_shift_photo_px = 0.15;
        p.sigma_round_pin_mm = 0.03, p.sigma_round_other_mm = 0.05;
        p.bend = p.distortion = true;
    }
    void add_photo(const cv::Mat &grey, const ps_pose &start) {
        ps_adjust_photo photo = {};
        photo.stored_width = grey.cols, photo.stored_height = grey.rows;
        photo.orientation = 1;
        photo.start = start;
        photos.push_back(photo);
    }
    void add_piece(const char *name, const ps_pose &start) {
        pieces.push_back({ps_kit_find(name), start, 5e-5, 0, 0, {}}); /* 0.5 mm over 200 mm */
    }
    void add_dot(int at, const Dot &dot, int rim) {
        for (const cv::Point2d &q : dot.edge) edges.push_back({at, rim, q.x, q.y, dot.sigma_px * neighbours_factor * enlarge / 2});
    }
    int add_pin(double x, double y, double radius_mm) {
        ps_adjust_pin pin = {{x, y, 0}, {0, 0, -1}, 0, 2 * CV_PI / 180};
        ps_adjust_rim rim = {};
        rim.pin = static_cast<int>(pins.size());
        rim.edge = PS_EDGE_PIN;
        rim.radius_mm = radius_mm;
        rim.on_axis = rim.height_known = true;
        rim.sigma_height_mm = 0.05;
        pins.push_back(pin), rims.push_back(rim);
        return rim.pin;
    }
    ps_adjust_solution *solve(ps_context *ctx) {
        p.photo = photos.data(), p.piece = pieces.data(), p.corner = corners.data(), p.pin = pins.data(), p.rim = rims.data();
        p.edge = edges.data(), p.group = &group, p.group_count = 1;
        p.photo_count = static_cast<int>(photos.size()), p.piece_count = static_cast<int>(pieces.size());
        p.corner_count = static_cast<int>(corners.size()), p.pin_count = static_cast<int>(pins.size());
        p.rim_count = static_cast<int>(rims.size()), p.edge_count = static_cast<int>(edges.size());
        ps_adjust_solution *s = nullptr;
        if (ps_adjust_solve(ctx, &p, &s) != PS_OK) fail_msg("%s", ps_context_message(ctx));
        return s;
    }
};

// ---- six photos of 8 x 10 dots ----

const int columns = 8, rows = 10, photo_count = 6;
const double pitch_mm = 25, dot_mm = 15;

struct Grid {
    std::vector<cv::Mat> grey, large;
    std::vector<ps_view> view; // x, y of dot (c, r): 25 c, 25 r
    std::vector<std::vector<Dot>> dot;
};

// Order of the dots and a first lens, from OpenCV's centres and our solver.
void look(Grid *g) {
    static calibration c; // large
    c.views = photo_count, c.points = columns * rows, c.lens_terms = 4;
    c.lens = {};
    c.lens.f_px = 450, c.lens.cx = 319.5, c.lens.cy = 239.5;
    for (int i = 0; i < c.points; i++) c.plane[i][0] = pitch_mm * (i % columns), c.plane[i][1] = pitch_mm * (i / columns);
    for (int v = 0; v < photo_count; v++) {
        cv::Mat grey = photo("grid-" + std::to_string(v) + ".jpg"), large;
        std::vector<cv::Point2f> centres;
        assert_true(cv::findCirclesGrid(grey, cv::Size(columns, rows), centres, cv::CALIB_CB_SYMMETRIC_GRID | cv::CALIB_CB_CLUSTERING));
        cv::Point2f across = centres[columns - 1] - centres[0], along = centres[columns * (rows - 1)] - centres[0];
        assert_true(across.x * along.y - across.y * along.x > 0); // not mirrored
        for (int i = 0; i < c.points; i++)
            c.image[v][i][0] = centres[static_cast<size_t>(i)].x, c.image[v][i][1] = centres[static_cast<size_t>(i)].y;
        cv::resize(grey, large, cv::Size(), enlarge, enlarge, cv::INTER_CUBIC);
        g->grey.push_back(grey), g->large.push_back(large);
    }
    assert_int_equal(calibrate(nullptr, &c), PS_OK);
    for (int v = 0; v < photo_count; v++) {
        ps_view view = {};
        view.lens = c.lens, view.pose = c.pose[v], view.orientation = 1;
        view.stored_width = g->grey[0].cols, view.stored_height = g->grey[0].rows;
        g->view.push_back(view);
        g->dot.emplace_back();
        for (int i = 0; i < c.points; i++)
            g->dot.back().push_back(trace(g->large[static_cast<size_t>(v)], view, c.plane[i][0], c.plane[i][1], 0.5 * dot_mm, 0.3));
    }
    print_message("first lens f %.1f c (%.1f, %.1f) k1 %.3f, rms of OpenCV's centres %.2f px\n", c.lens.f_px, c.lens.cx, c.lens.cy,
                  c.lens.k1, c.rms_px);
}

// A plate's 5 x 7 corners, 30 mm apart, are the dots (1..5, 1..7): printed at 25/30. The piece's corner (0, 0) is the dot (1, 1).
void lattice(const Grid &g, Problem *q) {
    for (size_t v = 0; v < photo_count; v++) {
        const ps_view &view = g.view[v];
        ps_pose shifted = view.pose; // the piece's origin lies one square before its first corner: at the dot (0, 0)
        q->add_photo(g.grey[v], shifted);
        for (int k = 0; k < 35; k++) {
            int c = 1 + k % 5, r = 1 + k / 5;
            const Dot &dot = g.dot[v][static_cast<size_t>(r * columns + c)];
            if (!dot.found) continue;
            cv::Point2d at = true_centre(view, dot, pitch_mm * c, pitch_mm * r, 0.5 * dot_mm);
            q->corners.push_back({static_cast<int>(v), 0, k, at.x, at.y, centre_px});
        }
    }
    static const ps_pose identity = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {0, 0, 0}};
    q->add_piece("plate-1", identity);
}

struct Tally {
    int n = 0;
    double sum = 0, sum2 = 0, ratio2 = 0, worst = 0;
    double ratio() const {
        return std::sqrt(ratio2 / n);
    }
    void add(double error, double u) {
        n++, sum += error, sum2 += error * error, ratio2 += error * error / (u * u), worst = std::fmax(worst, std::fabs(error) / (2 * u));
    }
};

// Four dots outside the lattice at a time: diameters, and distances of their centres.
void four_dots(ps_context *ctx, const Grid &g, const int at[4][2], double assumed_scale, Tally *diameter, Tally *distance) {
    Problem q(g.view[0].lens, g.grey[0].cols, 0.5, assumed_scale);
    lattice(g, &q);
    for (int i = 0; i < 4; i++) {
        int rim = q.add_pin(pitch_mm * at[i][0], pitch_mm * at[i][1], 0.5 * dot_mm);
        for (size_t v = 0; v < photo_count; v++) {
            const Dot &dot = g.dot[v][static_cast<size_t>(at[i][1] * columns + at[i][0])];
            if (dot.found) q.add_dot(static_cast<int>(v), dot, rim);
        }
    }
    ps_adjust_solution *s = q.solve(ctx);
    for (int i = 0; i < 4; i++) {
        ps_quantity d;
        assert_int_equal(ps_adjust_diameter(ctx, s, i, &d), PS_OK);
        diameter->add(d.value_mm - dot_mm, d.u_mm);
        for (int k = 0; k < i; k++) {
            assert_int_equal(ps_adjust_centres(ctx, s, i, 0, k, 0, &d), PS_OK);
            distance->add(d.value_mm - pitch_mm * std::hypot(at[i][0] - at[k][0], at[i][1] - at[k][1]), d.u_mm);
        }
    }
    double chi2;
    int dof;
    ps_adjust_fit(s, &chi2, &dof);
    print_message("  chi2 %.0f of %d\n", chi2, dof);
    ps_adjust_solution_free(s);
}

const int around[3][4][2] = {{{0, 0}, {7, 0}, {0, 9}, {7, 9}}, {{0, 4}, {7, 5}, {3, 9}, {4, 0}}, {{6, 2}, {6, 7}, {1, 8}, {5, 9}}};

void print(const char *what, const Tally &t) {
    print_message("%s: %d, mean error %+.3f mm, rms %.3f mm, rms error/u %.2f, worst error/U %.2f\n", what, t.n, t.sum / t.n,
                  std::sqrt(t.sum2 / t.n), t.ratio(), t.worst);
}

void dots_of_15_mm(void **) {
    Grid g;
    look(&g);
    int found = 0;
    for (const auto &photo : g.dot)
        for (const Dot &d : photo) found += d.found;
    print_message("%d of %d dots traced\n", found, photo_count * columns * rows);
    assert_true(found >= 0.95 * photo_count * columns * rows);
    ps_context *ctx = ps_context_new();
    Tally diameter, distance;
    for (const auto &four : around) four_dots(ctx, g, four, pitch_mm / 30, &diameter, &distance);
    print("diameters", diameter), print("distances", distance);
    // The bands are to be honest: errors over u from 0.5 to 1.3 (the project's aim), no error beyond twice U.
    for (const Tally &t : {diameter, distance}) {
        assert_true(t.ratio() > 0.5 && t.ratio() < 1.3);
        assert_true(t.worst < 2);
    }
    // A lattice taken for one of 24 mm is contradicted by the diameters.
    Tally wrong, ignored;
    four_dots(ctx, g, around[0], (pitch_mm - 1) / 30, &wrong, &ignored);
    assert_true(wrong.ratio() > 2);
    ps_context_free(ctx);
}

// ---- one photo of two grids on one board, a tape's 295 mm from line to line ----

// Two rows' distance and the lines' are documented; the dots' diameter is not, so that the trace may look 2 mm around.
const double row_mm = 16.3, lines_mm = 295, grid_dot_mm = 13,
             grid_focal_px = 640; /* focal length: hardly matters on a board seen straight */
const int grid_rows = 11, grid_columns = 4;

// Rows 16.3 mm apart, dots of a row 32.6 mm, every other row half of that to the left.
cv::Point2d grid_place(int row, int column) {
    return {row_mm * (2 * column - row % 2), row_mm * row};
}

struct Board {
    std::vector<cv::Point2d> place, seen; // of both grids' dots: in their own grid, mm; in the photo, px
    std::vector<int> side;
    ps_lens lens = {};
    ps_pose start = {};
    bool with_k1 = true;
};

// Unknowns: the board's pose (turn and shift on the start), the right grid's place on it, k1.
enum { BOARD_RIGHT = 6, BOARD_K1 = 9, BOARD_COUNT = 10 };
const double dot_sigma_px = 0.15; /* measured: what is left over of both grids; only the bands hang on it */

bool board_dot(const Board &b, size_t i, const double *x, double px[2]) {
    ps_lens lens = b.lens;
    lens.k1 = b.with_k1 ? x[BOARD_K1] : 0;
    ps_pose turn = {}, pose;
    ps_rotation_from_vector(x, turn.R);
    ps_pose_compose(&turn, &b.start, &pose);
    for (int k = 0; k < 3; k++) pose.t[k] = b.start.t[k] + x[3 + k];
    double X[3] = {b.place[i].x, b.place[i].y, 0}, camera[3];
    if (b.side[i]) {
        double c = std::cos(x[BOARD_RIGHT + 2]), s = std::sin(x[BOARD_RIGHT + 2]);
        X[0] = x[BOARD_RIGHT] + c * b.place[i].x - s * b.place[i].y;
        X[1] = x[BOARD_RIGHT + 1] + s * b.place[i].x + c * b.place[i].y;
    }
    ps_pose_apply(&pose, X, camera);
    return ps_lens_project(&lens, camera, px, nullptr, nullptr);
}

bool board_rows(void *user, const double *x, bool, void *sink, ps_lsq_emit emit) {
    const Board &b = *static_cast<const Board *>(user);
    const double step[BOARD_COUNT] = {1e-6, 1e-6, 1e-6, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-6, 1e-6};
    int index[BOARD_COUNT];
    for (int k = 0; k < BOARD_COUNT; k++) index[k] = k;
    for (size_t i = 0; i < b.place.size(); i++) {
        double px[2], derivative[2][BOARD_COUNT];
        if (!board_dot(b, i, x, px)) return false;
        for (int k = 0; k < BOARD_COUNT; k++) {
            double moved[BOARD_COUNT], more[2];
            std::copy(x, x + BOARD_COUNT, moved);
            moved[k] += step[k];
            if (!board_dot(b, i, moved, more)) return false;
            for (int a = 0; a < 2; a++) derivative[a][k] = (more[a] - px[a]) / step[k] / dot_sigma_px;
        }
        const double at[2] = {b.seen[i].x, b.seen[i].y};
        for (int a = 0; a < 2; a++) {
            ps_lsq_row row = {(px[a] - at[a]) / dot_sigma_px, BOARD_COUNT, index, derivative[a], true, 0};
            emit(sink, &row);
        }
    }
    const double one = 1 / 0.2; /* as the product's prior for this focal length: sd 0.07 at the photo's corner */
    const int k1 = BOARD_K1;
    ps_lsq_row prior = {x[BOARD_K1] * one, 1, &k1, &one, false, 0};
    emit(sink, &prior);
    return true;
}

// The right line goes through the odd rows' first dots, the left one through the even rows' last.
double lines_apart(const double *x) {
    double c = std::cos(x[BOARD_RIGHT + 2]), s = std::sin(x[BOARD_RIGHT + 2]), middle = 5 * row_mm;
    cv::Point2d right = {x[BOARD_RIGHT] - c * row_mm - s * middle, x[BOARD_RIGHT + 1] - s * row_mm + c * middle};
    return right.x - grid_place(0, 3).x;
}

double solve_board(Board *b, double *u_mm) {
    double x[BOARD_COUNT] = {0, 0, 0, 0, 0, 0, 400, 0, 0, 0};
    ps_lsq_result result = {};
    ps_context *ctx = ps_context_new();
    if (ps_lsq_solve(ctx, BOARD_COUNT, x, board_rows, b, nullptr, &result) != PS_OK) fail_msg("%s", ps_context_message(ctx));
    double spread = std::sqrt(result.chi2 / (result.rows - BOARD_COUNT));
    *u_mm = std::fmax(1, spread) * std::sqrt(result.covariance[BOARD_RIGHT * BOARD_COUNT + BOARD_RIGHT]);
    print_message("k1 %s: %.2f mm between the lines, u %.2f, k1 %+.3f, rms %.2f px\n", b->with_k1 ? "free" : "left out", lines_apart(x),
                  *u_mm, x[BOARD_K1], spread * dot_sigma_px);
    ps_lsq_result_clear(&result);
    ps_context_free(ctx);
    return lines_apart(x);
}

// Where four corner dots are, to 3 px, looked up in the photo; the trace finds all others from there, in two rounds.
void find_grid(const cv::Mat &grey, const cv::Mat &large, int side, Board *board) {
    const double corner_px[2][4][2] = {{{148, 149}, {248, 149}, {142, 315}, {244, 315}}, {{558, 149}, {656, 149}, {563, 313}, {665, 313}}};
    std::vector<cv::Point2d> place, seen;
    for (int k = 0; k < 4; k++) {
        place.push_back(grid_place(k / 2 * 10, k % 2 * 3));
        seen.emplace_back(corner_px[side][k][0], corner_px[side][k][1]);
    }
    ps_view view = {};
    view.lens = board->lens, view.orientation = 1, view.stored_width = grey.cols, view.stored_height = grey.rows;
    for (int round = 0; round < 2; round++) {
        std::vector<double> mm, xy;
        for (size_t i = 0; i < place.size(); i++) {
            double px[2] = {seen[i].x, seen[i].y}, direction[2];
            assert_true(ps_lens_unproject(&view.lens, px, direction));
            mm.push_back(place[i].x), mm.push_back(place[i].y), xy.push_back(direction[0]), xy.push_back(direction[1]);
        }
        ps_pose pose[2];
        double rms[2];
        assert_true(ps_pose_from_plane(reinterpret_cast<const double(*)[2]>(mm.data()), reinterpret_cast<const double(*)[2]>(xy.data()),
                                       static_cast<int>(place.size()), pose, rms) > 0);
        view.pose = pose[0];
        place.clear(), seen.clear();
        for (int i = 0; i < grid_rows * grid_columns; i++) {
            cv::Point2d at = grid_place(i / grid_columns, i % grid_columns);
            Dot dot = trace(large, view, at.x, at.y, 0.5 * grid_dot_mm, 1);
            if (!dot.found) continue;
            place.push_back(at), seen.push_back(true_centre(view, dot, at.x, at.y, 0.5 * grid_dot_mm));
        }
    }
    print_message("grid %d: %zu dots\n", side, place.size());
    assert_true(place.size() >= 36); /* the tape hides four of the right grid; the lines touch some */
    if (side == 0) board->start = view.pose;
    for (size_t i = 0; i < place.size(); i++) board->place.push_back(place[i]), board->seen.push_back(seen[i]), board->side.push_back(side);
}

void two_grids(void **) {
    cv::Mat grey = photo("two-grids.jpg"), large;
    cv::resize(grey, large, cv::Size(), enlarge, enlarge, cv::INTER_CUBIC);
    Board board;
    board.lens.f_px = grid_focal_px, board.lens.cx = 0.5 * (grey.cols - 1), board.lens.cy = 0.5 * (grey.rows - 1);
    for (int side = 0; side < 2; side++) find_grid(grey, large, side, &board);
    double u, apart = solve_board(&board, &u), allowed = nominal_rel * lines_mm;
    // A documented value by tape, and sizes as documented: half a percent beside the band.
    CHECK_NEAR(apart, lines_mm, 2 * u + allowed);
    board.with_k1 = false;
    // Both grids on one plane, without distortion: 0.7 % short here, more than nominal values allow, and the fit shows it. (How
    // much is lost hangs on the way: from one grid's plane drawn out to the other line it can be several percent.)
    double without = solve_board(&board, &u);
    assert_true(std::fabs(without - lines_mm) > allowed && std::fabs(without - lines_mm) > 2 * std::fabs(apart - lines_mm));
}

} // namespace

int main() {
    const struct CMUnitTest tests[] = {cmocka_unit_test(dots_of_15_mm), cmocka_unit_test(two_grids)};
    return cmocka_run_group_tests(tests, nullptr, nullptr);
}

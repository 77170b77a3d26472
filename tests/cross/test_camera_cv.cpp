// Camera against OpenCV on random cases: projectPoints, undistortPoints, findHomography, solvePnP (IPPE).
#include <cmath>
#include <csetjmp>
#include <cstdarg>
#include <cstddef>
#include <cstdint>
#include <random>
#include <vector>

// Before cmocka, whose macro fail() streams do not survive.
#include <opencv2/calib3d.hpp>

extern "C" {
#include "check.h"
}
#include "pinspan/camera.h"

namespace {

// Two right computations of the same formula differ by rounding: 1e-12 px at 4000 px, times the lens polynomial.
const double FORMULA_PX = 1e-9;
// Derivatives reach f r^7 of some thousand px.
const double DERIVATIVE = 1e-7;
// OpenCV's undistortPoints iterates; with 200 rounds and an end at 1e-14 it is as good as rounding for mild lenses.
const double DIRECTION = 1e-11;

std::mt19937 generator(20240607);
double uniform(double low, double high) {
    // Not std::uniform_real_distribution: its sequence differs between standard libraries.
    return low + (high - low) * (static_cast<double>(generator()) / 4294967296.0);
}

ps_lens random_lens() {
    ps_lens lens = {};
    lens.f_px = uniform(800, 4000);
    lens.cx = uniform(1500, 2500);
    lens.cy = uniform(1000, 2000);
    lens.k1 = uniform(-0.2, 0.2);
    lens.k2 = uniform(-0.1, 0.1);
    lens.k3 = uniform(-0.05, 0.05);
    lens.p1 = uniform(-0.002, 0.002);
    lens.p2 = uniform(-0.002, 0.002);
    return lens;
}

cv::Matx33d camera_matrix(const ps_lens &lens) {
    return cv::Matx33d(lens.f_px, 0, lens.cx, 0, lens.f_px, lens.cy, 0, 0, 1);
}

std::vector<double> coefficients(const ps_lens &lens) {
    return {lens.k1, lens.k2, lens.p1, lens.p2, lens.k3};
}

void test_project(void **) {
    int projected = 0;
    for (int trial = 0; trial < 500; trial++) {
        const ps_lens lens = random_lens();
        ps_pose pose = {};
        const double w[3] = {uniform(-1, 1), uniform(-1, 1), uniform(-2, 2)};
        ps_rotation_from_vector(w, pose.R);
        for (double &t : pose.t) t = uniform(-50, 50);
        pose.t[2] += 900;
        const std::vector<cv::Point3d> X = {{uniform(-300, 300), uniform(-300, 300), uniform(-100, 100)}};
        std::vector<cv::Point2d> p;
        cv::Mat J;
        cv::projectPoints(X, cv::Vec3d(w[0], w[1], w[2]), cv::Vec3d(pose.t[0], pose.t[1], pose.t[2]), camera_matrix(lens),
                          coefficients(lens), p, J);
        double x[3], ours[2], d_point[6], d_lens[16];
        const double world[3] = {X[0].x, X[0].y, X[0].z};
        ps_pose_apply(&pose, world, x);
        if (!ps_lens_project(&lens, x, ours, d_point, d_lens)) continue;
        projected++;
        CHECK_NEAR(ours[0], p[0].x, FORMULA_PX);
        CHECK_NEAR(ours[1], p[0].y, FORMULA_PX);
        // OpenCV's columns: rotation 3, translation 3, fx, fy, cx, cy, k1, k2, p1, p2, k3. One f is the sum of both.
        for (int i = 0; i < 2; i++) {
            const double *row = J.ptr<double>(i);
            for (int k = 0; k < 3; k++) CHECK_NEAR(d_point[3 * i + k], row[3 + k], DERIVATIVE);
            CHECK_NEAR(d_lens[8 * i + PS_LENS_F], row[6] + row[7], DERIVATIVE);
            CHECK_NEAR(d_lens[8 * i + PS_LENS_CX], row[8], 0);
            CHECK_NEAR(d_lens[8 * i + PS_LENS_CY], row[9], 0);
            for (int k = 0; k < 5; k++) CHECK_NEAR(d_lens[8 * i + PS_LENS_K1 + k], row[10 + k], DERIVATIVE);
        }
    }
    assert_true(projected > 490);
}

void test_rotation(void **) {
    for (int trial = 0; trial < 200; trial++) {
        const cv::Vec3d w(uniform(-1.8, 1.8), uniform(-1.8, 1.8), uniform(-1.8, 1.8));
        cv::Matx33d R;
        cv::Rodrigues(w, R);
        double ours[9], back[3];
        ps_rotation_from_vector(w.val, ours);
        for (int i = 0; i < 9; i++) CHECK_NEAR(ours[i], R.val[i], 1e-14);
        cv::Vec3d theirs;
        cv::Rodrigues(R, theirs);
        ps_rotation_to_vector(R.val, back);
        for (int i = 0; i < 3; i++) CHECK_NEAR(back[i], theirs[i], 1e-12);
    }
}

void test_undistort(void **) {
    for (int trial = 0; trial < 500; trial++) {
        const ps_lens lens = random_lens();
        const double x[3] = {uniform(-0.5, 0.5), uniform(-0.5, 0.5), 1};
        double pixel[2], ours[2];
        assert_true(ps_lens_project(&lens, x, pixel, nullptr, nullptr));
        std::vector<cv::Point2d> in = {{pixel[0], pixel[1]}}, out;
        cv::undistortPoints(in, out, camera_matrix(lens), coefficients(lens), cv::noArray(), cv::noArray(),
                            cv::TermCriteria(cv::TermCriteria::COUNT | cv::TermCriteria::EPS, 200, 1e-14));
        assert_true(ps_lens_unproject(&lens, pixel, ours));
        CHECK_NEAR(ours[0], out[0].x, DIRECTION);
        CHECK_NEAR(ours[1], out[0].y, DIRECTION);
    }
}

struct scene {
    double plane[30][2], xy[30][2];
    ps_pose pose;
};

// 6 x 5 points of a plane, 200 x 160 mm, their directions with errors of `sd`.
scene random_scene(double sd) {
    scene s = {};
    const double w[3] = {uniform(-0.7, 0.7), uniform(-0.7, 0.7), uniform(-3, 3)};
    ps_rotation_from_vector(w, s.pose.R);
    const double middle[3] = {100, 80, 0}, at[3] = {uniform(-100, 100), uniform(-100, 100), uniform(500, 1200)};
    ps_pose turn = s.pose;
    double shift[3];
    turn.t[0] = turn.t[1] = turn.t[2] = 0;
    ps_pose_apply(&turn, middle, shift);
    for (int i = 0; i < 3; i++) s.pose.t[i] = at[i] - shift[i];
    for (int i = 0; i < 30; i++) {
        s.plane[i][0] = 40 * (i % 6);
        s.plane[i][1] = 40 * (i / 6);
        const double X[3] = {s.plane[i][0], s.plane[i][1], 0};
        double x[3];
        ps_pose_apply(&s.pose, X, x);
        for (int k = 0; k < 2; k++) s.xy[i][k] = x[k] / x[2] + sd * (uniform(-1, 1) + uniform(-1, 1) + uniform(-1, 1));
    }
    return s;
}

void test_homography(void **) {
    // findHomography rounds its points to float (6e-8) and refines by at most 10 steps without scaling its unknowns. In
    // mm it therefore ends up to 1e-5 beside the least squares; points of size 1 let it come near.
    const double EXACT = 3e-7, WITH_ERRORS = 1e-6;
    for (int trial = 0; trial < 100; trial++) {
        const double sd = trial % 2 ? 1e-4 : 0, agree = sd > 0 ? WITH_ERRORS : EXACT;
        scene s = random_scene(sd);
        for (auto &point : s.plane) {
            point[0] = (point[0] - 100) / 100;
            point[1] = (point[1] - 80) / 100;
        }
        std::vector<cv::Point2d> from, to;
        for (int i = 0; i < 30; i++) {
            from.emplace_back(s.plane[i][0], s.plane[i][1]);
            to.emplace_back(s.xy[i][0], s.xy[i][1]);
        }
        const cv::Mat theirs = cv::findHomography(from, to, 0);
        double H[9];
        assert_true(ps_homography_fit(s.plane, s.xy, 30, H));
        double ours_sum = 0, theirs_sum = 0;
        for (int i = 0; i < 30; i++) {
            double a[2], b[2];
            assert_true(ps_homography_apply(H, s.plane[i], a));
            assert_true(ps_homography_apply(theirs.ptr<double>(), s.plane[i], b));
            CHECK_NEAR(a[0], b[0], agree);
            CHECK_NEAR(a[1], b[1], agree);
            for (int k = 0; k < 2; k++) {
                ours_sum += std::pow(a[k] - s.xy[i][k], 2);
                theirs_sum += std::pow(b[k] - s.xy[i][k], 2);
            }
        }
        assert_true(ours_sum <= theirs_sum * (1 + 1e-9) + 1e-24); // never the worse of the two, rounding aside
    }
}

double angle_between(const ps_pose &pose, const cv::Vec3d &w) {
    cv::Matx33d R;
    cv::Rodrigues(w, R);
    const cv::Matx33d ours(pose.R);
    cv::Vec3d difference;
    cv::Rodrigues(ours.t() * R, difference);
    return cv::norm(difference);
}

double misfit(const scene &s, const cv::Matx33d &R, const cv::Vec3d &t) {
    double sum = 0;
    for (int i = 0; i < 30; i++) {
        const cv::Vec3d x = R * cv::Vec3d(s.plane[i][0], s.plane[i][1], 0) + t;
        sum += std::pow(x[0] / x[2] - s.xy[i][0], 2) + std::pow(x[1] / x[2] - s.xy[i][1], 2);
    }
    return sum;
}

void test_plane_pose(void **) {
    int two = 0;
    for (int trial = 0; trial < 100; trial++) {
        const double sd = trial % 2 ? 5e-5 : 0;
        const scene s = random_scene(sd);
        std::vector<cv::Point3d> X;
        std::vector<cv::Point2d> xy;
        for (int i = 0; i < 30; i++) {
            X.emplace_back(s.plane[i][0], s.plane[i][1], 0);
            xy.emplace_back(s.xy[i][0], s.xy[i][1]);
        }
        cv::Vec3d w, t;
        assert_true(cv::solvePnP(X, xy, cv::Matx33d::eye(), cv::noArray(), w, t, false, cv::SOLVEPNP_IPPE));
        ps_pose ours[2];
        double rms[2];
        const int found = ps_pose_from_plane(s.plane, s.xy, 30, ours, rms);
        assert_true(found >= 1);
        two += found == 2;
        // IPPE is a closed form from the homography: exact on exact points (to its homography's rounding), and with
        // errors a little off the least squares, which ours must not exceed.
        cv::Matx33d R;
        cv::Rodrigues(w, R);
        const double theirs = misfit(s, R, t);
        assert_true(60 * rms[0] * rms[0] <= theirs * (1 + 1e-9) + 1e-20);
        if (sd == 0) CHECK_NEAR(angle_between(ours[0], w), 0, 1e-5);
        // Their refinement from our pose does not move it: it is the minimum.
        cv::Mat w_refined, t_refined = (cv::Mat_<double>(3, 1) << ours[0].t[0], ours[0].t[1], ours[0].t[2]);
        cv::Rodrigues(cv::Mat(cv::Matx33d(ours[0].R)), w_refined);
        cv::solvePnPRefineLM(X, xy, cv::Matx33d::eye(), cv::noArray(), w_refined, t_refined);
        CHECK_NEAR(angle_between(ours[0], cv::Vec3d(w_refined)), 0, 1e-6);
    }
    assert_true(two > 10 && two < 100); // both kinds of case were there
}

} // namespace

int main() {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_project),    cmocka_unit_test(test_rotation),   cmocka_unit_test(test_undistort),
        cmocka_unit_test(test_homography), cmocka_unit_test(test_plane_pose),
    };
    return cmocka_run_group_tests(tests, nullptr, nullptr);
}

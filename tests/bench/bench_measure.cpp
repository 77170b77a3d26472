/* What one measurement costs: processor time a photo by stage, the process's peak memory, and the time's ratio to two
 * things that anyone can repeat: libjpeg-turbo decoding the same photos to luma, and OpenCV's ArUco detector (DICT_APRILTAG_36h11,
 * default parameters) on that luma. All on one thread, in rounds of all three one after the other, so that what else the machine does slows
 * all of them; a ratio is the median of its rounds'. Program and yardsticks have a process of their own each time: what one had of memory
 * before decides whether another must ask the system for it, by half of the detector's time. The limits it holds itself to: 4 times the
 * detector, 250 MB.
 *
 *   bench_measure [across=MM] [along=MM] [PHOTO...]   photos of one side and the check lines as read; without photos testimages/demo */
#include <opencv2/aruco.hpp>
#include <opencv2/core.hpp>

#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <fstream>
#include <iterator>
#include <string>
#include <utility>
#include <vector>

#include <jpeglib.h>

#include "pinspan/measure.h"

namespace {

const int rounds = 5;
const double ratio_limit = 4, memory_limit_mb = 250, usual_mp = 12;
const double across_U_mm = 0.15, along_U_mm = 0.7; /* as pinspan measure takes them */

struct Cost {
    bool good = false;
    double whole = 0, peak_mb = 0;
    ps_record::ps_stage_times stage = {};
};

double cpu_s() {
    timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

double peak_mb() {
    rusage use;
    getrusage(RUSAGE_SELF, &use);
    return static_cast<double>(use.ru_maxrss) / 1024; /* Linux counts in KiB */
}

std::vector<unsigned char> read_file(const std::string &path) {
    std::ifstream in(path, std::ios::binary);
    return std::vector<unsigned char>(std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>());
}

/* libjpeg's own error handler ends the process, which is good enough for a benchmark. */
cv::Mat decode_luma(const std::vector<unsigned char> &bytes) {
    jpeg_decompress_struct jpeg;
    jpeg_error_mgr errors;
    jpeg.err = jpeg_std_error(&errors);
    jpeg_create_decompress(&jpeg);
    jpeg_mem_src(&jpeg, bytes.data(), bytes.size());
    jpeg_read_header(&jpeg, TRUE);
    jpeg.out_color_space = JCS_GRAYSCALE;
    jpeg_start_decompress(&jpeg);
    cv::Mat luma(static_cast<int>(jpeg.output_height), static_cast<int>(jpeg.output_width), CV_8UC1);
    while (jpeg.output_scanline < jpeg.output_height) {
        JSAMPROW row = luma.ptr(static_cast<int>(jpeg.output_scanline));
        jpeg_read_scanlines(&jpeg, &row, 1);
    }
    jpeg_finish_decompress(&jpeg);
    jpeg_destroy_decompress(&jpeg);
    return luma;
}

/* What a person who took the photos enters beside them: the check lines as read. */
struct Checks {
    std::vector<std::pair<bool, double>> read; /* along?, mm */
    bool take(const std::string &word) {
        for (bool along : {false, true}) {
            const std::string name = along ? "along=" : "across=";
            if (word.compare(0, name.size(), name) != 0) continue;
            read.emplace_back(along, std::atof(word.c_str() + name.size()));
            return true;
        }
        return false;
    }
    void enter(ps_measure_options *options) const {
        for (const auto &r : read)
            options->check[options->check_count++] = {/* piece */ -1, r.first, r.second, r.first ? along_U_mm : across_U_mm};
    }
};

Cost measure(const std::vector<std::string> &paths, const Checks &checks) {
    std::vector<const char *> files;
    for (const std::string &p : paths) files.push_back(p.c_str());
    ps_context *ctx = ps_context_new();
    ps_measure_options options = ps_measure_options_default();
    options.threads = 1;
    checks.enter(&options);
    ps_record record = {};
    Cost cost;
    double start = cpu_s();
    cost.good = ps_measure(ctx, &options, files.data(), static_cast<int>(files.size()), &record) == PS_OK;
    cost.whole = cpu_s() - start, cost.stage = record.times, cost.peak_mb = peak_mb();
    ps_record_clear(&record);
    if (!cost.good) std::fprintf(stderr, "bench_measure: %s\n", ctx ? ps_context_message(ctx) : "no memory");
    ps_context_free(ctx);
    return cost;
}

/* Both yardsticks on the same photos. */
struct Yardsticks {
    bool good = false;
    double decode = 0, detect = 0, pixels = 0;
    size_t markers = 0;
};

Yardsticks hold_yardsticks(const std::vector<std::string> &paths) {
    Yardsticks y;
    auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11);
    for (const std::string &p : paths) {
        std::vector<unsigned char> bytes = read_file(p);
        std::vector<std::vector<cv::Point2f>> corners;
        std::vector<int> ids;
        double start = cpu_s();
        cv::Mat luma = decode_luma(bytes);
        double decoded = cpu_s();
        cv::aruco::detectMarkers(luma, dictionary, corners, ids);
        y.detect += cpu_s() - decoded;
        y.decode += decoded - start;
        y.pixels += static_cast<double>(luma.total());
        y.markers += ids.size();
    }
    y.good = true;
    return y;
}

/* What a function returns in a process of its own; as made by default where that fails. */
template <typename Result, typename Function> Result alone(Function function) {
    Result result;
    int ends[2];
    if (pipe(ends) != 0) return result;
    pid_t child = fork();
    if (child == 0) {
        Result own = function();
        _exit(write(ends[1], &own, sizeof own) == static_cast<ssize_t>(sizeof own) ? 0 : 1);
    }
    close(ends[1]);
    if (child < 0 || read(ends[0], &result, sizeof result) != static_cast<ssize_t>(sizeof result)) result = Result();
    close(ends[0]);
    if (child > 0) waitpid(child, nullptr, 0);
    return result;
}

double median(std::vector<double> v) {
    std::sort(v.begin(), v.end());
    return v[v.size() / 2];
}

void print_stages(const Cost &cost, double photos) {
    const ps_record::ps_stage_times &t = cost.stage;
    const struct {
        const char *name;
        double s;
    } row[] = {{"read", t.read_s},       {"sight", t.sight_s}, {"propose", t.propose_s},
               {"section", t.section_s}, {"trace", t.trace_s}, {"adjust", t.adjust_s}};
    double rest = cost.whole;
    for (const auto &r : row) std::printf("  %-10s %8.1f ms\n", r.name, 1000 * r.s / photos), rest -= r.s;
    std::printf("  %-10s %8.1f ms\n  %-10s %8.1f ms\n", "other", 1000 * rest / photos, "whole", 1000 * cost.whole / photos);
}

} // namespace

int main(int argc, char **argv) {
    std::vector<std::string> paths;
    Checks checks;
    for (int i = 1; i < argc; i++)
        if (!checks.take(argv[i])) paths.push_back(argv[i]);
    if (paths.empty()) {
        for (int i = 1; i <= 3; i++) paths.push_back(std::string(PS_SOURCE_ROOT "/testimages/demo/photo-") + std::to_string(i) + ".jpg");
        checks.read = {{false, 139.9}, {true, 199.5}}; /* as testimages/demo/demo.args */
    }
    Cost least;
    double memory = 0, photos = static_cast<double>(paths.size());
    Yardsticks y;
    std::vector<double> to_decode, to_detect;
    cv::setNumThreads(1);
    for (int round = 0; round < rounds; round++) {
        Cost cost = alone<Cost>([&] { return measure(paths, checks); });
        if (!cost.good) return 1;
        memory = std::max(memory, cost.peak_mb);
        if (round == 0 || cost.whole < least.whole) least = cost;
        y = alone<Yardsticks>([&] { return hold_yardsticks(paths); });
        if (!y.good) return 1;
        to_decode.push_back(cost.whole / y.decode);
        to_detect.push_back(cost.whole / y.detect);
    }
    std::printf("%zu photos of %.1f MP (as of %.0f MP: times %.2f), processor time a photo, one thread, least of %d rounds\n", paths.size(),
                1e-6 * y.pixels / photos, usual_mp, usual_mp * 1e6 * photos / y.pixels, rounds);
    print_stages(least, photos);
    std::printf("libjpeg-turbo luma    ratio %6.2f\n", median(to_decode));
    std::printf("ArUco detector        ratio %6.2f (limit %.0f; rounds %.2f to %.2f), %zu markers\n", median(to_detect), ratio_limit,
                *std::min_element(to_detect.begin(), to_detect.end()), *std::max_element(to_detect.begin(), to_detect.end()), y.markers);
    std::printf("peak memory        %8.1f MB    (limit %.0f)\n", memory, memory_limit_mb);
    return median(to_detect) <= ratio_limit && memory <= memory_limit_mb ? 0 : 2;
}

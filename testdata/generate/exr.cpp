// Writes and reads OpenEXR files by the format's own library. With Debian's
// libopenexr-dev 3.1.5, g++ and pkg-config, at the top of the module:
//
//	g++ -std=c++17 -O1 -o /tmp/exr testdata/generate/exr.cpp $(pkg-config --cflags --libs OpenEXR)
//	/tmp/exr write testdata/projection
//
// writes the files that internal/exr reads in tests: a data window of 21 x 36 px
// from (-3, -5) on, a display window of 16 x 12 px from (2, 1) on, and channels
// "A", "Y" and "z" (k = 0, 1, 2) with, at (x, y),
//
//	half   (x + 25 y + k)/16
//	float  (x + 25 y + k)/16 + 2^-20
//	uint   x + 25 y + k + 1000000000
//
// in files named after the type, the compression and the order of the rows. Same
// input, same output.
//
//	/tmp/exr dump FILE
//
// prints what the library finds in a file, for go run ./internal/peer -what exr.

#include <cstdio>
#include <cstring>
#include <string>
#include <vector>

#include <ImfChannelList.h>
#include <ImfFrameBuffer.h>
#include <ImfHeader.h>
#include <ImfInputFile.h>
#include <ImfOutputFile.h>
#include <ImfStringAttribute.h>

using namespace OPENEXR_IMF_NAMESPACE;
using IMATH_NAMESPACE::Box2i;
using IMATH_NAMESPACE::V2i;

static const char *types[] = {"uint", "half", "float"};
static const char *orders[] = {"increasing", "decreasing"};
static const char *packings[] = {"none", "rle", "zips", "zip"};

static void put(std::vector<char> &out, PixelType type, int x, int y, int k)
{
    const int n = x + 25 * y + k;
    const float f = n / 16.0f;
    const half h = f;
    const float finer = f + 1.0f / (1 << 20);
    const unsigned int u = 1000000000u + n;
    const void *from = type == HALF ? (const void *)&h : type == FLOAT ? (const void *)&finer : (const void *)&u;
    const char *bytes = (const char *)from;
    out.insert(out.end(), bytes, bytes + (type == HALF ? 2 : 4));
}

static void write(const std::string &folder, PixelType type, Compression packing, LineOrder order)
{
    const Box2i data(V2i(-3, -5), V2i(17, 30)), display(V2i(2, 1), V2i(17, 12));
    Header header(display, data, 1, IMATH_NAMESPACE::V2f(0, 0), 1, order, packing);
    header.insert("note", StringAttribute("quay"));
    const char *names[] = {"A", "Y", "z"};
    std::vector<char> planes[3];
    FrameBuffer frame;
    const int width = 21, size = type == HALF ? 2 : 4;
    for (int k = 0; k < 3; k++) {
        header.channels().insert(names[k], Channel(type));
        for (int y = data.min.y; y <= data.max.y; y++)
            for (int x = data.min.x; x <= data.max.x; x++)
                put(planes[k], type, x, y, k);
        char *base = planes[k].data() - (long)size * (data.min.x + (long)width * data.min.y);
        frame.insert(names[k], Slice(type, base, size, size * width));
    }
    const std::string path = folder + "/exr-" + types[type] + "-" + packings[packing] + "-" + orders[order] + ".exr";
    OutputFile file(path.c_str(), header, 1);
    file.setFrameBuffer(frame);
    // Rows that decrease are wanted from the last to the first, which the library sorts.
    file.writePixels(36);
}

static void dump(const char *path)
{
    InputFile file(path, 1);
    const Header &h = file.header();
    const Box2i d = h.dataWindow(), s = h.displayWindow();
    std::printf("compression %s\n", packings[h.compression()]);
    std::printf("order %s\n", orders[h.lineOrder()]);
    std::printf("data %d %d %d %d\n", d.min.x, d.min.y, d.max.x, d.max.y);
    std::printf("display %d %d %d %d\n", s.min.x, s.min.y, s.max.x, s.max.y);
    for (auto a = h.begin(); a != h.end(); ++a)
        if (auto text = dynamic_cast<const StringAttribute *>(&a.attribute()))
            std::printf("text %s %s\n", a.name(), text->value().c_str());
    const long width = d.max.x - d.min.x + 1, height = d.max.y - d.min.y + 1;
    std::vector<std::string> names;
    std::vector<std::vector<unsigned int>> planes;
    for (auto c = h.channels().begin(); c != h.channels().end(); ++c) {
        std::printf("channel %s %s\n", c.name(), types[c.channel().type]);
        names.push_back(c.name());
        planes.emplace_back(width * height);
    }
    FrameBuffer frame;
    for (size_t k = 0; k < names.size(); k++) {
        char *base = (char *)planes[k].data() - 4 * (d.min.x + width * d.min.y);
        frame.insert(names[k], Slice(FLOAT, base, 4, 4 * width));
    }
    file.setFrameBuffer(frame);
    file.readPixels(d.min.y, d.max.y);
    for (size_t k = 0; k < names.size(); k++)
        for (long i = 0; i < width * height; i++)
            std::printf("%08x\n", planes[k][i]);
}

int main(int argc, char **argv)
{
    if (argc == 3 && !std::strcmp(argv[1], "dump")) {
        dump(argv[2]);
        return 0;
    }
    if (argc != 3 || std::strcmp(argv[1], "write")) {
        std::fprintf(stderr, "exr write FOLDER, or exr dump FILE\n");
        return 2;
    }
    write(argv[2], HALF, NO_COMPRESSION, INCREASING_Y);
    write(argv[2], HALF, ZIP_COMPRESSION, DECREASING_Y);
    write(argv[2], FLOAT, NO_COMPRESSION, DECREASING_Y);
    write(argv[2], FLOAT, ZIPS_COMPRESSION, INCREASING_Y);
    write(argv[2], FLOAT, ZIP_COMPRESSION, DECREASING_Y);
    write(argv[2], UINT, ZIP_COMPRESSION, INCREASING_Y);
    return 0;
}

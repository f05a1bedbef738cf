// A board for the sketch: time, a button that is held now and then, a servo that follows its pulses at 300 deg/s, and
// an angle sensor of 1024 counts a turn. What goes to the servo is said on standard error, "us on|off width".
//
//   usage: shim SECONDS
#include "Servo.h"

#include <cmath>
#include <cstdlib>

SerialPort Serial;

static unsigned long long now_us = 4294000000ull; // the board's 32 bits wrap soon
static unsigned long long begun = now_us;
static bool attached;
static int width = 1500;
static double angle = 12.5; // deg, where the limp joint hangs

static double seconds() { return double(now_us - begun) / 1e6; }
static bool held() { return std::fmod(seconds(), 30) > 2 && std::fmod(seconds(), 30) < 28; }

void pinMode(int, int) {}
int digitalRead(int) { return held() ? LOW : 1; }
int analogRead(int) { return int(std::lround((angle + 180) * 1024 / 360)) & 1023; }
unsigned long micros() { return now_us & 0xFFFFFFFFull; }

static void tell() { std::fprintf(stderr, "%llu %s %d %s\n", now_us - begun, attached ? "on" : "off", width, held() ? "held" : "free"); }

void Servo::attach(int) { attached = true; tell(); }
void Servo::detach() { attached = false; tell(); }
void Servo::writeMicroseconds(int us) {
  width = us;
  if (attached) tell();
}

int main(int argc, char **argv) {
  const double last = argc > 1 ? std::atof(argv[1]) : 10;
  setup();
  while (seconds() < last) {
    loop();
    now_us += 100;
    double to = attached ? (width - 1500) / 11.111 : angle;
    angle += std::fmax(-0.03, std::fmin(0.03, to - angle));
  }
}

// The few calls of a board that the sketch makes, for a host: see shim.cpp.
#ifndef SHIM_SERVO_H
#define SHIM_SERVO_H

#include <cstdint>
#include <cstdio>

const int A0 = 14, INPUT_PULLUP = 2, LOW = 0;

void pinMode(int pin, int mode);
int digitalRead(int pin);
int analogRead(int pin);
unsigned long micros();

struct Servo {
  void writeMicroseconds(int us);
  void attach(int pin);
  void detach();
};

// Prints floats with the number of digits given, as a board does.
struct SerialPort {
  void begin(long) {}
  void print(const char *s) { std::fputs(s, stdout); }
  void print(double v, int digits) { std::printf("%.*f", digits, v); }
  void print(int v) { std::printf("%d", v); }
  void print(unsigned int v) { std::printf("%u", v); }
  void print(unsigned long v) { std::printf("%lu", v); }
};
extern SerialPort Serial;

void setup();
void loop();
#endif

// A first stand in ten minutes: one servo, one angle sensor with an analogue output, one push button. Prints the
// text form of ../SPEC.md (section 10); "limbgauge listen" records it.
//
// The servo gets pulses only while the button is held: that is this stand's heartbeat. A software stop is no
// safety device: keep a switch in the servo's supply, and fingers out of the joint.
#include <Servo.h>

const char SAMPLE_OF[] = "sample,joint=knee command_deg="; // knee: its name in bench.toml
const long BAUD = 500000;         // as in bench.toml
const int SERVO_PIN = 9, BUTTON_PIN = 2, ANGLE_PIN = A0; // button to ground
const float TURN_COUNTS = 1024;   // of the analogue input over one turn of the sensor
const float ZERO_DEG = 180, SENSE = 1; // the sensor's angle at joint angle 0; SENSE -1 where it counts against the joint
const float LEAST_DEG = -60, MOST_DEG = 60, STEP_DEG = 15, RATE_DEG_PER_S = 20;
const float US_AT_ZERO = 1500, US_PER_DEG = 11.111; // pulse width
const uint32_t SAMPLE_US = 10000, DWELL_US = 600000, SLOW_LOOP_US = 100000;

Servo servo;
bool live = false;                // the servo gets pulses
float command = 0, target = 0;    // deg
int direction = 1;
uint16_t seq = 0, segment = 0;
uint32_t due = 0, reached = 0;    // us

float jointDeg() {
  float deg = (analogRead(ANGLE_PIN) * 360 / TURN_COUNTS - ZERO_DEG) * SENSE;
  return deg > 180 ? deg - 360 : deg <= -180 ? deg + 360 : deg;
}

float within(float deg) { return deg < LEAST_DEG ? LEAST_DEG : deg > MOST_DEG ? MOST_DEG : deg; }

void pulse() { servo.writeMicroseconds((int)(US_AT_ZERO + command * US_PER_DEG + 0.5)); }

void begin(uint32_t now) {   // where the joint is, so that it does not jump
  command = target = within(jointDeg());
  reached = now;
  segment++;
  pulse();                        // before attach, which would begin in the middle
  servo.attach(SERVO_PIN);
  live = true;
}

void end() {
  servo.detach();
  live = false;
}

void move(uint32_t now) {    // up and down the stairs
  if (command == target && now - reached >= DWELL_US) {
    if (target >= MOST_DEG) direction = -1;
    if (target <= LEAST_DEG) direction = 1;
    target = within(target + direction * STEP_DEG);
    segment++;
  }
  float way = RATE_DEG_PER_S * SAMPLE_US / 1e6;
  if (target > command + way) command += way;
  else if (target < command - way) command -= way;
  else if (command != target) {
    command = target;
    reached = now;
  }
  pulse();
}

void printSample(uint32_t now, float deg) {
  Serial.print(SAMPLE_OF);
  Serial.print(live ? command : within(deg), 3);
  Serial.print(",joint_deg=");
  Serial.print(deg, 3);
  Serial.print(live ? ",move=\"stair\",segment=" : ",segment=");
  Serial.print(live ? segment : 0);
  Serial.print("u,seq=");
  Serial.print(seq++);
  Serial.print("u ");
  Serial.print(now);
  Serial.print("\n");
}

void setup() {
  pinMode(BUTTON_PIN, INPUT_PULLUP);
  Serial.begin(BAUD);
  Serial.print("\nlog text=\"hold the button to move\"\n");
  due = micros();
}

void loop() {
  uint32_t now = micros();
  if ((int32_t)(now - due) < 0) return;
  if (now - due > SLOW_LOOP_US) { // it stood: let go, and count what was lost
    end();
    seq += (now - due) / SAMPLE_US;
    due = now;
  }
  due += SAMPLE_US;
  bool held = digitalRead(BUTTON_PIN) == LOW;
  if (held && !live) begin(now);
  if (!held && live) end();
  if (live) move(now);
  printSample(now, jointDeg());
}
